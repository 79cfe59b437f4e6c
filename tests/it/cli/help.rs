//! Help in the words of the trade, exit 0, and completions for every shell.

use super::beforedoors;

fn told(args: &[&str]) -> String {
    let output = beforedoors().args(args).output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{args:?}");
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn help_names_the_commands_the_codes_and_the_cautions() {
    let help = told(&["--help"]);
    for words in [
        "soundcheck",
        "recordings",
        "devices",
        "completions",
        "0 nothing wrong, 1 findings, 2 cannot tell, 3 bad input",
        "Hearing:",
        "simulated stage",
    ] {
        assert!(help.contains(words), "“{words}” in\n{help}");
    }
}

#[test]
fn every_option_is_explained_without_code_words() {
    for command in ["soundcheck", "recordings", "devices"] {
        let help = told(&[command, "--help"]);
        for word in ["struct", "enum", "parse", "panic", "stdout", "UTF", "boolean", "thread", "Option<"] {
            assert!(!help.contains(word), "“{word}” in {command}:\n{help}");
        }
    }
    let help = told(&["soundcheck", "--help"]);
    for option in ["--device", "--file", "--stage", "--event", "--connection", "--seed", "--mood", "--json"] {
        assert!(help.contains(option), "{option}");
    }
    for way in ["All channels by USB", "One feed, one channel at a time", "A microphone in the room"] {
        assert!(help.contains(way), "{way}");
    }
    let help = told(&["recordings", "--help"]);
    assert!(help.contains("--aes17") && help.contains("full-scale sine"), "{help}");
}

/// The keys of machine-readable lines stand in the help of `--json`.
#[test]
fn the_schema_is_in_the_help() {
    let help = told(&["recordings", "--help"]);
    for key in ["integrated_lufs", "loudness_range_lu", "sample_peak_dbfs", "crest_db", "start_s", "fix", "null"] {
        assert!(help.contains(key), "“{key}” in\n{help}");
    }
    let help = told(&["soundcheck", "--help"]);
    for key in ["time_s", "peak_dbfs", "window_dbfs", "trims"] {
        assert!(help.contains(key), "“{key}” in\n{help}");
    }
}

#[test]
fn version_and_completions() {
    assert_eq!(told(&["--version"]).trim(), concat!("beforedoors ", env!("CARGO_PKG_VERSION")));
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = told(&["completions", shell]);
        assert!(script.contains("soundcheck") && script.contains("recordings"), "{shell}");
    }
}

/// As the shell itself uses it: the word begun is completed.
#[test]
fn bash_completes_a_command_and_an_option() {
    let ask = r#"eval "$("$0" completions bash)"
        complete -p beforedoors >/dev/null || exit 9
        COMP_WORDS=(beforedoors sound); COMP_CWORD=1; _beforedoors beforedoors sound beforedoors; echo "${COMPREPLY[@]}"
        COMP_WORDS=(beforedoors recordings --a); COMP_CWORD=2; _beforedoors beforedoors --a recordings; echo "${COMPREPLY[@]}""#;
    let asked = std::process::Command::new("bash").args(["-c", ask, env!("CARGO_BIN_EXE_beforedoors")]).output();
    let Ok(output) = asked else { return eprintln!("no `bash` on this machine: completing was not tested") };
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(told, "soundcheck\n--aes17\n", "{}", String::from_utf8_lossy(&output.stderr));
}
