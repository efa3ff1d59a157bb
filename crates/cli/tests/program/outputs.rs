//! No command writes over a raw, an input, a record or an undo list, nor over a file that is not ours.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::{frame, run, shoot};

const BRIEF: &str = "[output]\nsize = \"60 x 90 cm\"\ndistance = \"60 cm\"\n";

/// Each command with an option that names a file to write; `@` stands for that file.
const WRITERS: [(&str, &[&str]); 10] = [
    ("audit", &["audit", "shoot", "--brief", "wall.toml", "--record", "new.ndjson", "--out", "@"]),
    ("audit", &["audit", "shoot", "--brief", "wall.toml", "--record", "@"]),
    ("judge", &["judge", "rawassay.ndjson", "--brief", "wall.toml", "--out", "@"]),
    ("enlarge", &["enlarge", "rawassay.ndjson", "shoot/F_0000.dng", "--brief", "wall.toml", "--out", "@"]),
    ("edge", &["edge", "shoot/F_0000.dng", "--out", "@"]),
    ("edge", &["edge", "shoot/F_0000.dng", "--plot", "@"]),
    ("sensor", &["sensor", "--flat", "shoot/F_0000.dng", "--dark", "shoot/F_0001.dng", "--out", "@"]),
    ("series", &["series", "rawassay.ndjson", "--by", "iso", "--brief", "wall.toml", "--out", "@"]),
    ("sets", &["sets", "rawassay.ndjson", "--brief", "wall.toml", "--out", "@"]),
    (
        "cull",
        &[
            "cull",
            "rawassay.ndjson",
            "--copy-to",
            "keep",
            "--outcome",
            "prints",
            "borderline",
            "fails",
            "unmeasured",
            "--brief",
            "wall.toml",
            "--undo-list",
            "@",
        ],
    ),
];

/// Every file below the folder.
fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                files.insert(path.display().to_string(), fs::read(&path).unwrap());
            }
        }
    }
    files
}

#[test]
fn no_command_writes_over_a_raw_an_input_or_a_record() {
    let folder = shoot(2);
    let at = folder.path();
    assert_eq!(run(at, &["audit", "shoot", "--jobs", "1", "-q"]).code, Some(0));
    fs::write(at.join("wall.toml"), BRIEF).unwrap();
    fs::write(at.join("raw.csv"), frame(9)).unwrap();
    fs::write(at.join("cut.csv"), &frame(9)[..3000]).unwrap();
    fs::write(at.join("cr3.csv"), b"\0\0\0\x18ftypcrx \0\0\0\x01crx isom").unwrap();
    fs::copy(at.join("rawassay.ndjson"), at.join("old.csv")).unwrap();
    fs::hard_link(at.join("shoot/F_0000.dng"), at.join("hard.csv")).unwrap();
    fs::write(at.join("undo.ndjson"), "{\"step\":\"run\",\"at\":\"2026-01-01T00:00:00Z\"}\n").unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink("shoot/F_0001.dng", at.join("soft.csv")).unwrap();
    let mut victims = vec![
        "shoot/F_0000.dng",
        "shoot/F_0001.dng",
        "./shoot/../shoot/F_0000.dng",
        "raw.csv",
        "cut.csv",
        "cr3.csv",
        "hard.csv",
        "wall.toml",
        "rawassay.ndjson",
        "old.csv",
        "undo.ndjson",
        "new.DNG",
        "shoot/new.cr3",
        "shoot",
    ];
    if cfg!(unix) {
        victims.push("soft.csv");
    }
    let before = contents(at);
    for (command, arguments) in WRITERS {
        for victim in &victims {
            let grows = arguments.contains(&"--record") && !arguments.contains(&"new.ndjson");
            // A record or an undo list is what these two are for.
            // Of no concern to these two; without --force it stays all the same.
            let may_force = *victim != "wall.toml" || !["edge", "sensor"].contains(&command);
            if (grows && ["rawassay.ndjson", "old.csv"].contains(victim))
                || (command == "cull" && *victim == "undo.ndjson")
            {
                continue;
            }
            let filled: Vec<&str> = arguments.iter().map(|a| if *a == "@" { *victim } else { *a }).collect();
            for force in [false, true] {
                let takes_force = filled.contains(&"--out") && may_force;
                let more: &[&str] = if force && takes_force { &["--force"] } else { &[] };
                let ran = run(at, &[&filled[..], more].concat());
                assert!(matches!(ran.code, Some(1 | 2)), "{filled:?}: {:?} {}{}", ran.code, ran.out, ran.err);
                assert!(ran.out.is_empty(), "{filled:?}: {}", ran.out);
                assert!(ran.err.starts_with("error: ") && ran.err.lines().count() == 1, "{filled:?}: {}", ran.err);
                assert!(before == contents(at), "{filled:?} changed a file");
            }
        }
    }
}

#[test]
fn what_somebody_else_wrote_stays_unless_forced_and_what_is_ours_is_written_anew() {
    let folder = shoot(2);
    let at = folder.path();
    assert_eq!(run(at, &["audit", "shoot", "--jobs", "1", "-q"]).code, Some(0));
    let notes = "file,my notes\nF_0000.dng,for the hall\n";
    for (command, arguments) in WRITERS {
        if !arguments.contains(&"--out") || ["edge", "sensor"].contains(&command) {
            continue;
        }
        let wanted = |name: &str| -> Vec<String> {
            let filled = arguments.iter().map(|a| if *a == "@" { name } else { *a });
            filled.map(|a| a.replace("wall.toml", "album")).collect()
        };
        for name in ["notes.csv", "notes.json", "notes.txt"] {
            let arguments = wanted(name);
            let mut arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
            fs::write(at.join(name), notes).unwrap();
            let ran = run(at, &arguments);
            assert_eq!(ran.code, Some(2), "{arguments:?}: {}", ran.err);
            assert!(ran.err.contains("--force") && ran.out.is_empty(), "{}", ran.err);
            assert_eq!(fs::read_to_string(at.join(name)).unwrap(), notes);
            arguments.push("--force");
            let ran = run(at, &arguments);
            assert_eq!(ran.code, Some(0), "{arguments:?}: {}", ran.err);
            let ours = fs::read_to_string(at.join(name)).unwrap();
            assert_ne!(ours, notes);
            // Ours by now: a second run needs no force.
            arguments.pop();
            let ran = run(at, &arguments);
            assert_eq!(ran.code, Some(0), "{arguments:?}: {}", ran.err);
            // A column that somebody added to it makes it theirs.
            if name.ends_with("csv") {
                let added = ours.replace("\r\n", ",mine\r\n");
                fs::write(at.join(name), &added).unwrap();
                assert_eq!(run(at, &arguments).code, Some(2), "{arguments:?}");
                assert_eq!(fs::read_to_string(at.join(name)).unwrap(), added);
            }
        }
    }
}

#[test]
fn pages_go_to_a_folder_of_their_own() {
    let folder = shoot(1);
    let at = folder.path();
    assert_eq!(run(at, &["audit", "shoot", "--jobs", "1", "-q"]).code, Some(0));
    fs::create_dir(at.join("old")).unwrap();
    fs::write(at.join("old/index.html"), "<h1>My portfolio</h1>").unwrap();
    fs::write(at.join("old/mine.txt"), "mine").unwrap();
    let before = contents(at);
    for (out, more, why) in [
        ("old", &[][..], "did not write it"),
        ("shoot", &[], "holds raw files"),
        ("shoot", &["--force"], "holds raw files"),
        ("shoot/F_0000.dng", &["--force"], "raw file"),
        ("rawassay.ndjson", &["--force"], "not a folder"),
    ] {
        let ran = run(at, &[&["page", "rawassay.ndjson", "--jobs", "1", "--out", out], more].concat());
        assert_eq!(ran.code, Some(2), "{out}: {}", ran.err);
        assert!(ran.err.contains(why) && ran.err.lines().count() == 1, "{out}: {}", ran.err);
        assert!(before == contents(at), "{out}");
    }
    for _ in 0..2 {
        let ran = run(at, &["page", "rawassay.ndjson", "--jobs", "1", "--out", "pages"]);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
    }
    let ran = run(at, &["page", "rawassay.ndjson", "--jobs", "1", "--out", "old", "--force"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert_eq!(fs::read_to_string(at.join("old/mine.txt")).unwrap(), "mine");
}

#[test]
fn man_pages_and_the_demo_replace_nothing_of_others() {
    let folder = shoot(1);
    let at = folder.path();
    fs::create_dir(at.join("man")).unwrap();
    fs::write(at.join("man/rawassay-audit.1"), "my own notes on audit").unwrap();
    let before = contents(at);
    for arguments in [&["manual", "--out", "man"][..], &["demo", "shoot"], &["demo", "shoot/F_0000.dng"]] {
        let ran = run(at, arguments);
        assert_eq!(ran.code, Some(2), "{arguments:?}: {}", ran.err);
        assert!(before == contents(at), "{arguments:?}");
    }
    for _ in 0..2 {
        assert_eq!(run(at, &["manual", "--out", "pages"]).code, Some(0));
    }
}

/// A command that gets a new option for a file must be tried here too.
#[test]
fn every_option_that_names_a_file_to_write_is_tried() {
    let folder = shoot(0);
    let help = run(folder.path(), &["--help"]).out;
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|l| !l.starts_with("Commands:"))
        .skip(1)
        .take_while(|l| l.starts_with("  "))
        .filter_map(|l| l.split_whitespace().next())
        .filter(|c| *c != "help")
        .collect();
    assert!(commands.len() > 12, "{commands:?}");
    for command in commands {
        let help = run(folder.path(), &[command, "--help"]).out;
        for option in ["--out", "--record", "--undo-list", "--plot", "--save"] {
            if help.split_whitespace().any(|word| word == option) {
                let elsewhere = ["page", "manual"].contains(&command) && option == "--out";
                let tried = WRITERS.iter().any(|(name, arguments)| *name == command && arguments.contains(&option));
                assert!(tried || elsewhere, "{command} {option}");
            }
        }
    }
}
