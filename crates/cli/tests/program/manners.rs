//! Defaults of the user's own, version, man pages, completions.

use std::process::Command;

use super::{Ran, program, shoot};

/// The brief that `judge` takes, told by its summary.
fn brief_of(command: &mut Command) -> String {
    let ran = Ran::from(command.output().unwrap());
    let summary = ran.err.lines().find(|l| l.contains(" for ")).unwrap_or_else(|| panic!("{}", ran.err)).to_string();
    let after = summary.split(" for ").nth(1).unwrap().to_string();
    after.split([':', ',']).next().unwrap().to_string()
}

#[test]
fn command_line_before_environment_before_file_before_what_is_built_in() {
    let folder = shoot(1);
    let at = folder.path();
    let with_home = |arguments: &[&str]| {
        let mut command = program(at, arguments);
        command.env("XDG_CONFIG_HOME", at.join("home")).env_remove("RAWASSAY_BRIEF").env_remove("RAWASSAY_CONFIG");
        command
    };
    let audit = ["audit", "shoot", "--jobs", "1", "--format", "csv"];
    assert_eq!(brief_of(&mut with_home(&audit)), "portfolio");
    std::fs::create_dir_all(at.join("home/rawassay")).unwrap();
    std::fs::write(at.join("home/rawassay/config.toml"), "brief = \"exhibition\"\njobs = 1\n").unwrap();
    assert_eq!(brief_of(&mut with_home(&audit)), "exhibition");
    assert_eq!(brief_of(with_home(&audit).env("RAWASSAY_BRIEF", "album")), "album");
    let asked = [&audit[..], &["--brief", "screen"]].concat();
    assert_eq!(brief_of(with_home(&asked).env("RAWASSAY_BRIEF", "album")), "screen");

    std::fs::write(at.join("home/rawassay/config.toml"), "jobs = 1\nbref = \"album\"\n").unwrap();
    let ran = Ran::from(with_home(&audit).output().unwrap());
    assert_eq!(ran.code, Some(2));
    assert_eq!(ran.err.lines().count(), 1, "{}", ran.err);
    assert!(ran.err.contains("config.toml: line 2: unknown field `bref`"), "{}", ran.err);
    let ran = Ran::from(with_home(&audit).env("RAWASSAY_CONFIG", "no-such.toml").output().unwrap());
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("no-such.toml: cannot read the defaults"), "{}", ran.err);
}

#[test]
fn version_names_the_back_ends() {
    let folder = shoot(0);
    let long = Ran::from(program(folder.path(), &["--version"]).output().unwrap());
    assert!(long.out.contains("rawler ") && long.out.contains("rawloader "), "{}", long.out);
    let short = Ran::from(program(folder.path(), &["-V"]).output().unwrap());
    assert_eq!(short.out.lines().count(), 1);
}

#[test]
fn man_pages_and_completions_cover_every_command() {
    let folder = shoot(0);
    let ran = Ran::from(program(folder.path(), &["manual", "--out", "man/pages"]).output().unwrap());
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let completions = Ran::from(program(folder.path(), &["completions", "bash"]).output().unwrap());
    for command in
        ["audit", "judge", "series", "sets", "enlarge", "sensor", "edge", "cull", "page", "brief", "explain", "demo"]
    {
        let page = std::fs::read_to_string(folder.path().join(format!("man/pages/rawassay-{command}.1"))).unwrap();
        assert!(page.contains("Examples:"), "{command}");
        assert!(completions.out.contains(command), "{command}");
    }
    assert!(!folder.path().join("man/pages/rawassay-worker.1").exists());
}

#[test]
fn a_record_that_is_not_there_is_asked_for_in_one_line() {
    let folder = shoot(0);
    for command in [&["judge"][..], &["series", "--by", "iso"], &["sets"], &["cull", "--list"]] {
        let ran = Ran::from(program(folder.path(), &[command, &["no-such.ndjson"]].concat()).output().unwrap());
        assert_eq!(ran.code, Some(1), "{command:?}: {}", ran.err);
        let expected = "error: no-such.ndjson: there is no such file; give the record that `audit` keeps";
        assert!(ran.err.starts_with(expected) && ran.err.lines().count() == 1, "{command:?}: {}", ran.err);
    }
}

#[test]
fn slips_of_the_keyboard_get_a_hint_that_helps() {
    let folder = shoot(0);
    let ran = |arguments: &[&str]| Ran::from(program(folder.path(), arguments).output().unwrap());
    let help = ran(&["help", "enlarg"]);
    assert!(help.code == Some(2) && help.err.contains("rawassay help enlarge"), "{}", help.err);
    let option = ran(&["audit", "shoot", "--breif", "album"]);
    assert!(
        option.code == Some(2) && option.err.contains("--brief") && !option.err.contains("as a value"),
        "{}",
        option.err
    );
    assert!(option.err.starts_with("error: ") && !option.err.contains("error: error"), "{}", option.err);
    let mut jobs = program(folder.path(), &["audit", "shoot"]);
    let jobs = Ran::from(jobs.env("RAWASSAY_JOBS", "many").output().unwrap());
    let told = jobs.err.starts_with("error: RAWASSAY_JOBS: ") && jobs.err.contains("a whole number from 1 to 1024");
    assert!(told && jobs.err.lines().count() == 1, "{}", jobs.err);
    let list = ran(&["brief"]);
    assert!(list.code == Some(0) && list.out.contains("exhibition"), "{}", list.out);
    let by = ran(&["series", "none.ndjson", "--by", "ISO"]);
    assert!(by.err.contains("none.ndjson: there is no such file"), "{}", by.err);
    let broken = ran(&["audit", "shoot", "--brief", "x\ny"]);
    assert!(broken.code == Some(2) && broken.err.lines().count() == 1, "{}", broken.err);
    let several = ran(&["explain", "clip"]);
    assert!(several.code == Some(0) && several.out.contains("clipped_any_pct"), "{}", several.out);
    let check = ran(&["brief", "check", "100 x 75 mm at 1 m"]);
    assert!(check.out.contains("is the unit right?"), "{}", check.out);
    let short = ran(&["audit", "shoot", "--brief", "100x75"]);
    assert!(
        short.code == Some(2) && short.err.contains("100 x 75 cm at 1 m") && short.err.lines().count() == 1,
        "{}",
        short.err
    );
}
