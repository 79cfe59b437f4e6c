//! The launcher: parse, open the window or run a command, print what went wrong, set the exit code.

fn main() -> std::process::ExitCode {
    beforedoors::cli::main(beforedoors::gui::run, beforedoors::report::files, beforedoors::report::takes)
}
