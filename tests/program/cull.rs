//! `cull`, `series` and `sets` as run: what they write, and that no raw changes by a byte.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use rawassay_report::Record;
use rawassay_tests::session::{Body, Dice, Take, clock, record};

use crate::run;

/// A folder with raws (any bytes do: `cull` never reads them), companions and their record.
struct Shoot {
    folder: tempfile::TempDir,
}

impl Shoot {
    fn new(names: &[(&str, f64)]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut dice = Dice(4);
        let mut lines = String::new();
        for (i, (name, motion_px)) in names.iter().enumerate() {
            let path = folder.path().join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(&path, format!("raw {name} {}", "x".repeat(10_000 + i))).unwrap();
            let take = Take {
                file: name.to_string(),
                motion_px: *motion_px,
                motion_deg: 30.0,
                taken_at: Some(clock(i as f64)),
                scene: 3,
                ..Take::default()
            };
            let mut line = record(&Body::common(), &take, &mut dice);
            known(&mut line, &path);
            lines.push_str(&serde_json::to_string(&line).unwrap());
            lines.push('\n');
        }
        fs::write(folder.path().join("shoot.ndjson"), lines).unwrap();
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, arguments: &[&str]) -> (i32, String, String) {
        run(self.folder.path(), arguments)
    }

    fn cull(&self, arguments: &[&str]) -> (i32, String, String) {
        let mut all = vec!["cull", "shoot.ndjson"];
        all.extend(arguments);
        self.run(&all)
    }

    /// Content of every file below the folder, apart from the record and undo lists.
    fn contents(&self) -> BTreeMap<String, Vec<u8>> {
        let mut files = BTreeMap::new();
        collect(self.folder.path(), self.folder.path(), &mut files);
        files.retain(|name, _| !name.ends_with(".ndjson"));
        files
    }
}

fn collect(root: &Path, folder: &Path, files: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(root, &path, files);
        } else {
            let name = path.strip_prefix(root).unwrap().display().to_string();
            files.insert(name, fs::read(&path).unwrap());
        }
    }
}

fn known(line: &mut Record, path: &Path) {
    line.set_path(path);
    let facts = fs::metadata(path).unwrap();
    line.file_id.size = facts.len();
    let since = facts.modified().unwrap().duration_since(std::time::UNIX_EPOCH).unwrap();
    let whole = std::time::UNIX_EPOCH + std::time::Duration::from_secs(since.as_secs());
    fs::File::options().append(true).open(path).unwrap().set_modified(whole).unwrap();
    // RFC 3339 in UTC, by the calendar of the test's own: days since 1970 are enough for the library to read back.
    line.file_id.mtime = Some(rfc3339(since.as_secs()));
}

/// Seconds since 1970 as RFC 3339 (civil-from-days, Howard Hinnant, "chrono-compatible low-level date algorithms").
fn rfc3339(seconds: u64) -> String {
    let (days, rest) = ((seconds / 86_400) as i64, seconds % 86_400);
    let z = days + 719_468;
    let era = z.div_euclid(146_097);
    let doe = z.rem_euclid(146_097);
    let yoe = (doe - doe / 1460 + doe / 36_524 - doe / 146_096) / 365;
    let doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    let mp = (5 * doy + 2) / 153;
    let (day, month) = (doy - (153 * mp + 2) / 5 + 1, if mp < 10 { mp + 3 } else { mp - 9 });
    let year = yoe + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z", rest / 3600, rest / 60 % 60, rest % 60)
}

fn raws(contents: &BTreeMap<String, Vec<u8>>) -> Vec<&Vec<u8>> {
    let mut raws: Vec<&Vec<u8>> = contents.iter().filter(|f| f.0.ends_with(".dng")).map(|f| f.1).collect();
    raws.sort();
    raws
}

#[test]
fn frames_are_taken_by_name_and_judged_by_a_crop_of_them() {
    let shoot = Shoot::new(&[("A_0001.dng", 0.0), ("A_0002.dng", 0.0), ("B_0001.dng", 0.0)]);
    let listed = |arguments: &[&str]| {
        let (code, out, _) = shoot.cull(&[&["--list", "--format", "json"], arguments].concat());
        assert_eq!(code, 0, "{out}");
        let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
        let row = |r: &serde_json::Value| (r["file"].as_str().unwrap().to_string(), r["outcome"].clone());
        answer["files"].as_array().unwrap().iter().map(row).collect::<Vec<_>>()
    };
    assert_eq!(listed(&["--frame", "0002", "--frame", "B_"]).len(), 2);
    // Of each frame 40 x 30 px are left.
    let (whole, part) = (listed(&["--frame", "0002"]), listed(&["--frame", "0002", "--crop", "40x30+100+100"]));
    assert!(whole[0].0.ends_with("A_0002.dng") && whole[0].0 == part[0].0);
    assert!(whole[0].1 != "fails" && part[0].1 == "fails", "{whole:?} {part:?}");
    let (code, ..) = shoot.cull(&["--copy-to", "one", "--frame", "B_0001"]);
    assert_eq!((code, fs::read_dir(shoot.path("one")).unwrap().count()), (0, 1));
    assert_eq!(shoot.cull(&["--sidecars", "--crop", "4:3"]).0, 2);
}

#[test]
fn sidecars_are_written_rated_and_undone_and_raws_stay() {
    let shoot = Shoot::new(&[("F1.dng", 0.0), ("F2.dng", 12.0), ("F3.dng", 0.0)]);
    let theirs = "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>\
                  <rdf:Description rdf:about='' xmlns:o='urn:o#' o:mine='1'/></rdf:RDF></x:xmpmeta>";
    fs::write(shoot.path("F3.XMP"), theirs).unwrap();
    let before = shoot.contents();
    let (status, out, err) = shoot.cull(&["--sidecars", "--rating", "--reject", "--brief", "exhibition", "--dry-run"]);
    assert_eq!(status, 0, "{out}{err}");
    assert_eq!(shoot.contents(), before);
    assert!(!shoot.path("shoot-undo.ndjson").exists());
    let (status, out, err) = shoot.cull(&["--sidecars", "--rating", "--reject", "--brief", "exhibition"]);
    assert_eq!(status, 0, "{out}{err}");
    let after = shoot.contents();
    assert_eq!(raws(&after), raws(&before));
    let text = |name: &str| String::from_utf8(after[name].clone()).unwrap();
    assert!(text("F2.xmp").contains("<xmp:Rating>-1</xmp:Rating>"), "{}", text("F2.xmp"));
    assert!(text("F3.XMP").contains("o:mine='1'") && !after.contains_key("F3.xmp"));
    assert!(text("F1.xmp").contains("rawassay:outcome"));
    let (status, out, err) = shoot.run(&["cull", "--undo", "shoot-undo.ndjson"]);
    assert_eq!(status, 0, "{out}{err}");
    assert_eq!(shoot.contents(), before);
    let (status, _, err) = shoot.run(&["cull", "--undo", "shoot-undo.ndjson"]);
    assert_eq!(status, 1);
    assert!(err.contains("nothing to undo"), "{err}");
}

#[test]
fn a_sidecar_that_is_no_xml_is_left_alone() {
    let shoot = Shoot::new(&[("F1.dng", 0.0), ("F2.dng", 0.0)]);
    fs::write(shoot.path("F1.xmp"), "<broken").unwrap();
    let (status, _, err) = shoot.cull(&["--sidecars"]);
    assert_eq!(status, 3);
    assert!(err.contains("F1.dng") && err.contains("not well-formed XML"), "{err}");
    assert_eq!(fs::read(shoot.path("F1.xmp")).unwrap(), b"<broken");
    assert!(shoot.path("F2.xmp").exists());
}

#[test]
fn moves_take_companions_and_come_back() {
    let shoot = Shoot::new(&[("a/F1.dng", 12.0), ("a/F2.dng", 0.0), ("b/F3.dng", 12.0)]);
    for name in ["a/F1.xmp", "a/F1.JPG", "a/F1.dng.xmp", "a/F1.txt", "a/F2.jpg"] {
        fs::write(shoot.path(name), name).unwrap();
    }
    let before = shoot.contents();
    let moving = ["--move-to", "spoiled", "--finding", "shaken", "--brief", "exhibition"];
    let (status, out, err) = shoot.cull(&[&moving[..], &["--dry-run"]].concat());
    assert_eq!((status, shoot.contents()), (0, before.clone()), "{out}{err}");
    assert!(!shoot.path("spoiled").exists());
    let (status, out, err) = shoot.cull(&moving);
    assert_eq!(status, 0, "{out}{err}");
    let after = shoot.contents();
    assert_eq!(raws(&after), raws(&before));
    for name in ["spoiled/F1.dng", "spoiled/F1.xmp", "spoiled/F1.JPG", "spoiled/F1.dng.xmp", "spoiled/F3.dng"] {
        assert!(after.contains_key(name), "{name}: {:?}", after.keys());
    }
    assert!(after.contains_key("a/F1.txt") && after.contains_key("a/F2.jpg") && after.contains_key("a/F2.dng"));
    let (status, out, err) = shoot.run(&["cull", "--undo", "shoot-undo.ndjson"]);
    assert_eq!(status, 0, "{out}{err}");
    assert_eq!(shoot.contents(), before);
}

#[test]
fn collisions_are_told_before_anything_moves() {
    // Two raws of one name, and one that differs in case only from a file that is there.
    for (names, there) in [
        (vec![("a/F1.dng", 12.0), ("b/F1.dng", 12.0)], None),
        (vec![("a/F1.dng", 12.0), ("b/F2.dng", 12.0)], Some("to/f2.DNG")),
        (vec![("a/F1.dng", 12.0), ("b/f1.DNG", 12.0)], None),
    ] {
        let shoot = Shoot::new(&names);
        if let Some(there) = there {
            fs::create_dir_all(shoot.path("to")).unwrap();
            fs::write(shoot.path(there), "there").unwrap();
        }
        let before = shoot.contents();
        for way in ["--move-to", "--copy-to"] {
            let (status, out, err) = shoot.cull(&[way, "to", "--finding", "shaken", "--brief", "exhibition"]);
            assert_eq!(status, 1, "{out}{err}");
            assert!(err.contains("nothing was copied or moved"), "{err}");
            assert_eq!(err.lines().count(), 1);
            assert_eq!(shoot.contents(), before);
        }
    }
}

#[test]
fn what_changed_or_is_gone_is_left_alone_and_the_rest_goes_on() {
    let shoot = Shoot::new(&[("F1.dng", 12.0), ("F2.dng", 12.0), ("F3.dng", 12.0)]);
    fs::write(shoot.path("F1.dng"), "another file now").unwrap();
    fs::remove_file(shoot.path("F2.dng")).unwrap();
    let (status, _, err) = shoot.cull(&["--copy-to", "to", "--finding", "shaken", "--brief", "exhibition"]);
    assert_eq!(status, 3, "{err}");
    assert!(err.contains("changed since it was measured") && err.contains("cannot be found"), "{err}");
    assert_eq!(fs::read(shoot.path("F1.dng")).unwrap(), b"another file now");
    let copied: Vec<String> =
        fs::read_dir(shoot.path("to")).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    assert_eq!(copied, ["F3.dng"]);
    // Undoing leaves copies.
    let (status, out, _) = shoot.run(&["cull", "--undo", "shoot-undo.ndjson"]);
    assert_eq!(status, 0);
    assert!(out.contains("left where it is") && shoot.path("to/F3.dng").exists());
}

/// Uncompressed frames of a burst on a card that keeps whole seconds are of one size and one time: once they are renumbered
/// the record's names lead to their neighbours, and what is moved for its shake would be a sharp frame.
#[test]
fn a_neighbour_that_took_the_name_is_not_moved() {
    let shoot = Shoot::new(&[("F1.dng", 0.0), ("F2.dng", 12.0), ("F3.dng", 0.0)]);
    let time = std::time::UNIX_EPOCH + std::time::Duration::from_secs(1_700_000_000);
    let mut lines = String::new();
    for (line, name) in
        rawassay_report::record::read(&shoot.path("shoot.ndjson")).unwrap().iter_mut().zip(["F1", "F2", "F3"])
    {
        let path = shoot.path(&format!("{name}.dng"));
        fs::write(&path, format!("raw {name} {}", "x".repeat(10_000))).unwrap();
        fs::File::options().append(true).open(&path).unwrap().set_modified(time).unwrap();
        line.file_id = identity(&path);
        lines.push_str(&serde_json::to_string(line).unwrap());
        lines.push('\n');
    }
    fs::write(shoot.path("shoot.ndjson"), lines).unwrap();
    let moves = ["--move-to", "to", "--finding", "shaken", "--brief", "exhibition"];
    let (_, out, _) = shoot.cull(&[&moves[..], &["--dry-run"]].concat());
    assert!(out.contains("1 raw and") && out.contains("F2.dng"), "as measured it is moved: {out}");
    fs::remove_file(shoot.path("F1.dng")).unwrap();
    fs::rename(shoot.path("F2.dng"), shoot.path("F1.dng")).unwrap();
    fs::rename(shoot.path("F3.dng"), shoot.path("F2.dng")).unwrap();
    let (status, out, err) = shoot.cull(&moves);
    assert!(status == 1 && err.contains("F2.dng: changed since it was measured, or another file"), "{out}{err}");
    assert!(shoot.path("F2.dng").exists() && !shoot.path("to/F2.dng").exists());
    let (status, _, err) = shoot.cull(&["--sidecars"]);
    assert!(status == 1 && !shoot.path("F2.xmp").exists() && !shoot.path("F1.xmp").exists(), "{err}");
}

/// Size, time and hash as docs/scorecard.md states them: BLAKE3 over the size and, of a small file, all of it.
fn identity(path: &Path) -> rawassay_report::FileId {
    let bytes = fs::read(path).unwrap();
    let mut hasher = blake3::Hasher::new();
    hasher.update(&(bytes.len() as u64).to_le_bytes());
    hasher.update(&bytes);
    let since = fs::metadata(path).unwrap().modified().unwrap().duration_since(std::time::UNIX_EPOCH).unwrap();
    rawassay_report::FileId {
        size: bytes.len() as u64,
        mtime: Some(rfc3339(since.as_secs())),
        hash: hasher.finalize().to_hex()[..32].to_owned(),
    }
}

#[cfg(unix)]
#[test]
fn links_stay_links() {
    let shoot = Shoot::new(&[("F1.dng", 12.0), ("F2.dng", 12.0)]);
    fs::create_dir(shoot.path("store")).unwrap();
    fs::rename(shoot.path("F1.dng"), shoot.path("store/F1.dng")).unwrap();
    std::os::unix::fs::symlink(shoot.path("store/F1.dng"), shoot.path("F1.dng")).unwrap();
    let content = fs::read(shoot.path("F1.dng")).unwrap();
    let arguments = ["--finding", "shaken", "--brief", "exhibition"];
    let (status, _, err) = shoot.cull(&[&["--move-to", "to"], &arguments[..]].concat());
    assert_eq!(status, 3);
    assert!(err.contains("symbolic link"), "{err}");
    assert!(shoot.path("to/F2.dng").exists() && shoot.path("F1.dng").is_symlink());
    let (status, out, err) = shoot.cull(&["--copy-to", "copies", "--finding", "shaken", "--brief", "exhibition"]);
    assert_eq!(status, 3, "{out}{err}");
    assert_eq!(fs::read(shoot.path("copies/F1.dng")).unwrap(), content);
    assert!(!shoot.path("copies/F1.dng").is_symlink());
    // A sidecar that is a link: what it leads to is written.
    fs::write(shoot.path("store/side.xmp"), "<r:RDF xmlns:r='http://www.w3.org/1999/02/22-rdf-syntax-ns#'/>").unwrap();
    std::os::unix::fs::symlink(shoot.path("store/side.xmp"), shoot.path("F1.xmp")).unwrap();
    shoot.cull(&["--sidecars", "--finding", "shaken", "--brief", "exhibition"]);
    assert!(shoot.path("F1.xmp").is_symlink());
    assert!(fs::read_to_string(shoot.path("store/side.xmp")).unwrap().contains("rawassay:outcome"));
}

#[test]
fn copying_everything_must_be_meant() {
    let shoot = Shoot::new(&[("F1.dng", 0.0)]);
    let (status, _, err) = shoot.cull(&["--move-to", "to"]);
    assert_eq!(status, 2);
    assert!(err.contains("--outcome"), "{err}");
    let (status, ..) = shoot.cull(&[]);
    assert_eq!(status, 2);
    let (status, out, _) = shoot.cull(&["--list", "--outcome", "fails", "--brief", "album"]);
    assert_eq!(status, 0);
    assert!(out.starts_with("No frame of 1 fits"), "{out}");
}

#[test]
fn answers_are_json_csv_and_a_sentence_first() {
    let shoot = Shoot::new(&[("F1.dng", 0.0), ("F2.dng", 12.0), ("F3.dng", 0.3)]);
    let json = |arguments: &[&str]| -> serde_json::Value {
        let (status, out, err) = shoot.run(arguments);
        assert_eq!(status, 0, "{err}");
        serde_json::from_str(&out).unwrap()
    };
    let listed = json(&["cull", "shoot.ndjson", "--list", "--format", "json"]);
    assert_eq!(listed["files"].as_array().unwrap().len(), 3);
    let sets = json(&["sets", "shoot.ndjson", "--format", "json"]);
    assert_eq!(sets["bursts"][0]["files"].as_array().unwrap().len(), 3);
    assert!(!sets["bursts"][0]["best"].as_str().unwrap().ends_with("F2.dng"));
    for by in ["iso", "aperture", "shutter", "camera"] {
        let series = json(&["series", "shoot.ndjson", "--by", by, "--format", "json"]);
        assert_eq!(series["by"], by);
        let group = &series["groups"][0];
        for field in ["key", "steps", "best", "limit_for_brief", "answer"] {
            assert!(group.get(field).is_some(), "{by}: {field}");
        }
        assert!(group["steps"][0]["frames"].is_u64() && group["steps"][0].get("setting").is_some());
        let (status, text, _) = shoot.run(&["series", "shoot.ndjson", "--by", by]);
        assert_eq!(status, 0);
        assert!(!text.starts_with(' ') && text.lines().next().unwrap().contains(' '), "{text}");
        let (_, csv, _) = shoot.run(&["series", "shoot.ndjson", "--by", by, "--format", "csv"]);
        let columns = csv.lines().next().unwrap().split(',').count();
        assert!(columns > 8, "{csv}");
    }
}

#[test]
fn of_a_frame_in_two_records_the_last_counts() {
    let shoot = Shoot::new(&[("F1.dng", 0.0), ("F2.dng", 0.0)]);
    let first = fs::read_to_string(shoot.path("shoot.ndjson")).unwrap();
    // F1 measured again elsewhere, and shaken now.
    let mut again: Record = serde_json::from_str(first.lines().next().unwrap()).unwrap();
    let shaken = Take { file: "F1.dng".into(), motion_px: 20.0, scene: 3, ..Take::default() };
    again.measures = record(&Body::common(), &shaken, &mut Dice(9)).measures;
    fs::write(shoot.path("later.ndjson"), serde_json::to_string(&again).unwrap() + "\n").unwrap();
    let files = |arguments: &[&str]| -> (u64, Vec<String>) {
        let mut all = vec!["cull", "shoot.ndjson", "later.ndjson", "--list", "--format", "json"];
        all.extend(arguments);
        let (status, out, err) = shoot.run(&all);
        assert_eq!(status, 0, "{err}");
        let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
        let name = |file: &str| Path::new(file).file_name().unwrap().to_string_lossy().into_owned();
        let names = answer["files"].as_array().unwrap().iter().map(|f| name(f["file"].as_str().unwrap()));
        (answer["frames"].as_u64().unwrap(), names.collect())
    };
    let (frames, all) = files(&[]);
    // It stands where the record stands that counts, as in the rows of `judge`.
    assert_eq!((frames, all), (2, vec!["F2.dng".to_string(), "F1.dng".to_string()]));
    assert_eq!(files(&["--finding", "shaken"]).1, ["F1.dng"]);
    let sharp = files(&["--outcome", "prints", "borderline"]).1;
    assert!(!sharp.contains(&"F1.dng".to_string()), "{sharp:?}");
}

/// A shoot copied with its record: the record still means the raws at their first place, and that is said before anything is
/// done with them.
#[test]
fn copies_beside_a_copied_record_are_told() {
    let shoot = Shoot::new(&[("F1.DNG", 0.1), ("a/b/F1.DNG", 0.1), ("F2.DNG", 0.1)]);
    // The same name and size in two folders of one record is no copy, however the record's own place is written.
    let size = fs::metadata(shoot.path("a/b/F1.DNG")).unwrap().len();
    fs::OpenOptions::new().write(true).open(shoot.path("F1.DNG")).unwrap().set_len(size).unwrap();
    let said = |arguments: &[&str]| shoot.run(&[&["cull"], arguments, &["--sidecars", "--dry-run"]].concat()).2;
    assert!(!said(&["shoot.ndjson"]).contains("beside the record"), "{}", said(&["shoot.ndjson"]));
    let copy = tempfile::tempdir().unwrap();
    for name in ["shoot.ndjson", "F2.DNG"] {
        fs::copy(shoot.path(name), copy.path().join(name)).unwrap();
    }
    let there = copy.path().join("shoot.ndjson");
    let told = said(&[there.to_str().unwrap()]);
    assert!(told.contains("F2.DNG stands beside the record, but the record means"), "{told}");
    assert!(told.contains(shoot.path("F2.DNG").to_str().unwrap()), "{told}");
}
