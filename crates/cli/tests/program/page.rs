//! `rawassay page` from the record to the folder: pictures are drawn by workers, a file that ends its worker costs its own
//! picture, a second run changes nothing, and no raw changes by a byte.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use rawassay_scene::{Compression, Recipe, SceneKind, render};

use super::{audit, cards, run, shoot};

fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            let name = entry.file_name().to_string_lossy().into_owned();
            found.extend(contents(&entry.path()).into_iter().map(|(n, bytes)| (format!("{name}/{n}"), bytes)));
        } else {
            found.insert(entry.file_name().to_string_lossy().into_owned(), fs::read(entry.path()).unwrap());
        }
    }
    found
}

fn text(pages: &BTreeMap<String, Vec<u8>>, name: &str) -> String {
    String::from_utf8(pages[name].clone()).unwrap()
}

/// The page of the frame with that name.
fn page_of<'a>(pages: &'a BTreeMap<String, Vec<u8>>, file: &str) -> (&'a str, String) {
    let title = format!("<h1>{file}</h1>");
    let found = pages.keys().filter(|n| n.starts_with("frames/")).find(|n| text(pages, n).contains(&title));
    let name = found.unwrap_or_else(|| panic!("no page of {file}"));
    (name.trim_start_matches("frames/").trim_end_matches(".html"), text(pages, name))
}

#[test]
fn pages_are_written_refreshed_and_leave_the_raws() {
    let folder = shoot(3);
    let at = |name: &str| folder.path().join(name);
    fs::write(at("shoot/cut.dng"), &super::frame(9)[..90_000]).unwrap();
    fs::write(at("shoot/<b>&.dng"), super::frame(10)).unwrap();
    audit(folder.path(), &[]);
    let raws = contents(&at("shoot"));
    let page = |more: &[&str]| run(folder.path(), &[&["page", "rawassay.ndjson", "--out", "pages"], more].concat());

    let ran = page(&[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.out.contains("5 frames") && ran.out.contains("4 drawn now"), "{}", ran.out);
    let pages = contents(&at("pages"));
    let overview = text(&pages, "index.html");
    assert_eq!(overview.matches("<tr data-n=").count(), 5);
    assert!(overview.contains("&lt;b&gt;&amp;.dng") && !overview.contains("<b>&.dng"));
    let (id, good) = page_of(&pages, "F_0000.dng");
    assert!(good.contains(&format!("src=\"../pictures/{id}.jpg\"")));
    for (name, bytes) in pages.iter().filter(|(name, _)| name.starts_with("pictures/")) {
        assert!(bytes.len() < 40_000, "{name}");
        assert!(bytes.starts_with(&[0xff, 0xd8]) || bytes.starts_with(b"\x89PNG"), "{name}");
    }
    let (_, cut) = page_of(&pages, "cut.dng");
    assert!(cut.contains("This file could not be read"));
    // A sentence, and no list that reads as if nothing was left unmeasured.
    assert!(
        cut.contains("<p>The file is cut short") && cut.contains("<li>everything: the file could not be read"),
        "{cut}"
    );
    assert!(cut.contains("content hash") && !cut.contains("unknown"), "values of a file that was never measured");

    // The same again changes nothing and draws nothing.
    let ran = page(&[]);
    assert!(ran.out.contains("0 drawn now, 0 files changed"), "{}", ran.out);
    assert!(contents(&at("pages")) == pages);

    // One raw gone, one replaced: their pages say so, the pictures of the others stay.
    fs::remove_dir_all(at("pages")).unwrap();
    fs::remove_file(at("shoot/F_0001.dng")).unwrap();
    fs::write(at("shoot/F_0002.dng"), super::frame(77)).unwrap();
    let ran = page(&["--jobs", "1"]);
    assert!(ran.out.contains("2 drawn now") && ran.out.contains("3 without a picture"), "{}", ran.out);
    let pages = contents(&at("pages"));
    assert!(page_of(&pages, "F_0001.dng").1.contains("no longer at its place"));
    assert!(page_of(&pages, "F_0002.dng").1.contains("has changed since it was measured"));
    for (name, bytes) in contents(&at("shoot")).iter().filter(|(name, _)| name.as_str() != "F_0002.dng") {
        assert!(&raws[name] == bytes, "{name} changed");
    }
}

/// A frame that needs more than its worker may take ends the worker: its page stands without a picture, the others have
/// theirs.
#[test]
#[cfg(unix)]
fn a_raw_that_ends_its_worker_costs_its_own_picture() {
    let folder = shoot(2);
    let recipe = Recipe::new(SceneKind::Flat).size(600, 400);
    let mut bytes = render(&recipe).to_dng(Compression::None);
    bytes.resize(200 << 20, 0);
    fs::write(folder.path().join("shoot/large.dng"), bytes).unwrap();
    audit(folder.path(), &[]);
    let ran = run(folder.path(), &["page", "rawassay.ndjson", "--out", "pages", "--memory", "128", "--jobs", "1"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.out.contains("2 drawn now") && ran.out.contains("1 without a picture"), "{}", ran.out);
    let pages = contents(&folder.path().join("pages"));
    let (_, large) = page_of(&pages, "large.dng");
    assert!(large.contains("memory"), "the reason stands on the page");
    let timed = run(folder.path(), &["page", "rawassay.ndjson", "--out", "timed", "--timeout", "0.001"]);
    assert!(timed.out.contains("3 without a picture"), "{}", timed.out);
}

/// A crop is judged on the pages as `judge` judges it, and shown.
#[test]
fn a_crop_is_judged_as_elsewhere() {
    let folder = shoot(1);
    audit(folder.path(), &[]);
    for crop in ["700x500+300+200", "1400x900+50+50"] {
        let judged = run(folder.path(), &["judge", "rawassay.ndjson", "--crop", crop, "--format", "ndjson"]);
        let outcome = cards(&judged.out)[0]["verdict"]["outcome"].as_str().unwrap().to_owned();
        let largest = cards(&judged.out)[0]["print"]["largest"]["width_in"].as_f64().unwrap();
        let ran = run(folder.path(), &["page", "rawassay.ndjson", "--out", "pages", "--crop", crop]);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        let pages = contents(&folder.path().join("pages"));
        assert!(text(&pages, "index.html").contains(&format!("Only the part {crop}")));
        let (_, page) = page_of(&pages, "F_0000.dng");
        assert!(page.contains(&format!("Outcome: <b>{outcome}</b>")) && page.contains("judged-part"));
        let shown = page.split("Largest honest print</span> <b>").nth(1).unwrap();
        // In the unit of the brief, never rounded up: tenths below ten.
        let inches: f64 = shown.split(' ').next().unwrap().parse().unwrap();
        let step = if largest < 10.0 { 0.1 } else { 1.0 };
        assert!(inches <= largest + 1e-3 && largest - inches < step, "{inches} in for {largest} in");
    }
    let wrong = run(folder.path(), &["page", "rawassay.ndjson", "--out", "pages", "--crop", "10x10"]);
    assert_eq!(wrong.code, Some(2), "{}", wrong.err);
}

/// A screen is looked at: nobody makes a proof print for it.
#[test]
fn pages_for_a_screen_speak_of_no_print() {
    let folder = shoot(1);
    audit(folder.path(), &[]);
    let ran = run(folder.path(), &["page", "rawassay.ndjson", "--out", "pages", "--brief", "screen"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let pages = contents(&folder.path().join("pages"));
    let (_, frame) = page_of(&pages, "F_0000.dng");
    // The table of all values keeps the names of its fields.
    let frame = frame.split("All values").next().unwrap().to_owned();
    for page in [text(&pages, "index.html"), frame] {
        assert!(!page.contains("proof print") && !page.contains("<span>Largest honest print"), "{page}");
        assert!(!page.contains("argest print") && !page.contains("that print<"), "{page}");
        assert!(page.contains(" px") && !page.contains("class=\"label\">A4"), "{page}");
    }
}

/// What is judged for a screen is told of one: no paper and no proof print, on any page but that of all words.
#[test]
fn pages_for_a_screen_speak_of_a_screen() {
    let folder = shoot(0);
    // Three exposure times of one scene at rising ISO: a series, and frames a second apart are a burst.
    for (k, iso) in [100.0, 400.0, 1600.0].into_iter().enumerate() {
        for i in 0..2 {
            let mut recipe =
                Recipe::new(SceneKind::Buildings).size(600, 400).seeds(3, 10 * k as u64 + i).exposure(iso, -0.5);
            recipe.shot.taken_at = format!("2031:05:14 05:1{k}:0{i}");
            fs::write(folder.path().join(format!("shoot/S_{k}{i}.dng")), render(&recipe).to_dng(Compression::None))
                .unwrap();
        }
    }
    audit(folder.path(), &[]);
    let ran = run(folder.path(), &["page", "rawassay.ndjson", "--out", "pages", "--brief", "screen"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let pages = contents(&folder.path().join("pages"));
    assert!(pages.contains_key("series.html") && pages.contains_key("sets.html"), "{:?}", pages.keys());
    for name in pages.keys().filter(|n| n.ends_with(".html") && *n != "words.html") {
        let page = text(&pages, name);
        for word in ["the paper", "proof print"] {
            let at = page.find(word);
            assert!(at.is_none(), "{name}: {:?}", at.map(|at| &page[at.saturating_sub(80)..at + 20]));
        }
    }
    assert!(text(&pages, "sets.html").contains("on the screen"));
}
