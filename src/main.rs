//! The launcher: parse, run, print what went wrong, set the exit code.

fn main() -> std::process::ExitCode {
    beforedoors::cli::main()
}
