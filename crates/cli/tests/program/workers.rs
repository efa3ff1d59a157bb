//! Workers that are killed, hang or ask for too much cost a frame at the most, and none outlives the run.

#![cfg(target_os = "linux")]

use std::fs;
use std::time::{Duration, Instant};

use super::{Ran, audit, cards, program, shoot};

/// Processes whose parent is `parent`, from /proc.
fn children(parent: u32) -> Vec<u32> {
    let mut found = Vec::new();
    for entry in fs::read_dir("/proc").unwrap().flatten() {
        let Some(pid) = entry.file_name().to_str().and_then(|n| n.parse::<u32>().ok()) else { continue };
        let Ok(stat) = fs::read_to_string(format!("/proc/{pid}/stat")) else { continue };
        let after_name = stat.rsplit(')').next().unwrap_or_default();
        if after_name.split_whitespace().nth(1) == Some(&parent.to_string()) {
            found.push(pid);
        }
    }
    found
}

fn gone(pid: u32) -> bool {
    let until = Instant::now() + Duration::from_secs(10);
    while Instant::now() < until {
        let state = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
        let ended = state.rsplit(')').next().is_none_or(|s| s.trim_start().starts_with('Z') || s.trim().is_empty());
        if ended {
            return true;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    false
}

fn signal(pid: u32, signal: rustix::process::Signal) {
    if let Some(pid) = rustix::process::Pid::from_raw(pid as i32) {
        rustix::process::kill_process(pid, signal).ok();
    }
}

/// Workers of that run, once there are some.
fn workers_of(run: u32) -> Vec<u32> {
    let until = Instant::now() + Duration::from_secs(10);
    loop {
        let workers = children(run);
        if !workers.is_empty() || Instant::now() > until {
            return workers;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

#[test]
fn a_killed_worker_is_replaced_and_its_frame_tried_again() {
    let folder = shoot(30);
    let child = program(folder.path(), &["audit", "shoot", "--format", "ndjson", "--jobs", "2"]).spawn().unwrap();
    let workers = workers_of(child.id());
    assert!(!workers.is_empty());
    workers.iter().for_each(|&pid| signal(pid, rustix::process::Signal::KILL));
    let ran: Ran = child.wait_with_output().unwrap().into();
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert_eq!(cards(&ran.out).iter().filter(|c| c["status"] == "measured").count(), 30);
}

#[test]
fn a_crashed_worker_costs_one_row() {
    let folder = shoot(30);
    let child = program(folder.path(), &["audit", "shoot", "--format", "ndjson", "--jobs", "1"]).spawn().unwrap();
    let workers = workers_of(child.id());
    std::thread::sleep(Duration::from_millis(60));
    workers.iter().for_each(|&pid| signal(pid, rustix::process::Signal::SEGV));
    let ran: Ran = child.wait_with_output().unwrap().into();
    let cards = cards(&ran.out);
    assert_eq!(cards.len(), 30);
    let lost: Vec<_> = cards.iter().filter(|c| c["status"] == "unreadable").collect();
    assert!(lost.len() <= 1, "{lost:?}");
    for card in lost {
        assert!(card["error"].as_str().unwrap().contains("signal 11"), "{card}");
        assert_eq!(ran.code, Some(3));
    }
}

#[test]
fn a_frame_that_takes_too_long_is_given_up() {
    let folder = shoot(2);
    let (ran, cards) = audit(folder.path(), &["--timeout", "0.001"]);
    assert_eq!(ran.code, Some(3));
    assert_eq!(cards.len(), 2);
    for card in cards {
        assert!(card["error"].as_str().unwrap().contains("took longer than 0.001 s"), "{card}");
    }
    // With time enough they are measured: no run believes what a shorter patience said.
    let (ran, cards) = audit(folder.path(), &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(cards.iter().all(|card| card["status"] == "measured"));
}

#[test]
fn a_frame_that_needs_too_much_memory_is_given_up() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("shoot")).unwrap();
    // 200 MB of samples where a worker may take 128 MB in all.
    let recipe = rawassay_scene::Recipe::new(rawassay_scene::SceneKind::Flat).size(600, 400);
    let mut bytes = rawassay_scene::render(&recipe).to_dng(rawassay_scene::Compression::None);
    bytes.resize(200 << 20, 0);
    fs::write(folder.path().join("shoot/large.dng"), bytes).unwrap();
    let (ran, cards) = audit(folder.path(), &["--memory", "128"]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    let error = cards[0]["error"].as_str().unwrap();
    assert!(error.contains("memory"), "{error}");
}

#[test]
fn workers_end_with_their_supervisor() {
    let folder = shoot(30);
    let mut child = program(folder.path(), &["audit", "shoot", "-q", "--jobs", "2"]).spawn().unwrap();
    let workers = workers_of(child.id());
    assert!(!workers.is_empty());
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(workers.into_iter().all(gone));
}

#[test]
fn ctrl_c_ends_cleanly_and_says_how_to_go_on() {
    let folder = shoot(60);
    let child = program(folder.path(), &["audit", "shoot", "--out", "cards.csv", "--jobs", "2"]).spawn().unwrap();
    let workers = workers_of(child.id());
    std::thread::sleep(Duration::from_millis(100));
    signal(child.id(), rustix::process::Signal::INT);
    let ran: Ran = child.wait_with_output().unwrap().into();
    assert_eq!(ran.code, Some(130), "{}", ran.err);
    assert!(ran.err.contains("run the same command again"), "{}", ran.err);
    assert!(!folder.path().join("cards.csv").exists(), "no half of a list");
    assert!(workers.into_iter().all(gone));
    let kept = rawassay_report::record::read(&folder.path().join("cards.record.ndjson")).unwrap().len();
    assert!(kept < 60);
    let (ran, cards) = audit(folder.path(), &["--record", "cards.record.ndjson"]);
    assert_eq!((ran.code, cards.len()), (Some(0), 60));
    assert!(ran.err.contains(&format!("{kept} from the record")), "{}", ran.err);
}
