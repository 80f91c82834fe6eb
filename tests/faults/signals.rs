//! Signals that end a program where it stands.

use super::*;

/// Only what was finished is there: no lock, nothing half-written.
#[cfg(unix)]
#[track_caller]
fn tidy(desk: &Desk) {
    let names = contents(&desk.out()).into_keys();
    let left: Vec<PathBuf> = names
        .filter(|path| {
            let name = path.file_name().unwrap().to_string_lossy();
            name.contains("writing") || name.contains("-lock")
        })
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[cfg(target_os = "linux")]
#[test]
fn a_file_that_grows_too_large_is_an_error_like_any_other() {
    let desk = Desk::new();
    desk.put_six();
    for blocks in ["1", "8", "64"] {
        let limited = format!("ulimit -c 0; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        held_short(&desk, blocks, &limited);
        tidy(&desk);
    }
}

#[cfg(unix)]
#[test]
fn nobody_listening_is_no_trouble() {
    use std::process::Stdio;
    let desk = Desk::new();
    desk.put_six();
    for quiet in [false, true] {
        let mut command = Command::new(PROGRAM);
        command
            .args(desk.words("all"))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        drop(child.stdout.take());
        if quiet {
            drop(child.stderr.take());
        }
        let status = child.wait().unwrap();
        assert!(matches!(status.code(), Some(0 | 1)), "{status}");
        tidy(&desk);
        assert_eq!(contents(&desk.out().join("phases")).len(), 6);
    }
}
