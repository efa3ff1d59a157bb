//! What goes where, and that nothing stands in its way: before anything is done.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use rawassay_report::FileId;

use super::chosen::{Chosen, Shared, stem_of};
use super::companions::{Folders, folded};
use crate::identity;
use crate::messages::Failure;
use crate::output::cause;

/// Copy or move.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    Copy,
    Move,
}

/// The file is there and is the one that was measured.
pub(super) fn unchanged(frame: &Chosen) -> Result<(), String> {
    let raw = &frame.raw;
    let facts = std::fs::metadata(raw).map_err(|e| {
        format!("cannot be found at {} ({}); audit the files where they are now", raw.display(), cause(&e))
    })?;
    if !facts.is_file() {
        return Err("is not a file; left alone".to_string());
    }
    let now = identity::quick(&facts);
    let time = |id: &FileId| id.mtime.as_deref().and_then(|m| m.parse::<jiff::Timestamp>().ok());
    // Some file systems keep whole seconds, or pairs of them.
    let later = time(&frame.id).zip(time(&now)).is_some_and(|(a, b)| (a.as_second() - b.as_second()).abs() > 2);
    let told = !frame.by_content && time(&now) == time(&frame.id);
    let other = || identity::identify(raw).is_ok_and(|found| found.hash != frame.id.hash);
    if now.size != frame.id.size || later || (!told && !frame.id.hash.is_empty() && other()) {
        return Err("changed since it was measured, or another file has its name now; audit again".to_string());
    }
    Ok(())
}

/// What goes where for one raw: the raw first, then its companions.
pub(super) fn plan(
    way: Way,
    frame: &Chosen,
    folder: &Path,
    folders: &mut Folders,
    shared: &Shared,
    chosen: &HashSet<&Path>,
) -> Result<Vec<(PathBuf, PathBuf)>, String> {
    unchanged(frame)?;
    let raw = frame.raw.as_path();
    let mut files = vec![raw.to_path_buf()];
    let companions = folders.companions(raw);
    if let Some(twins) = shared.get(&stem_of(raw)) {
        // Companions of two raws go with the first of them that is chosen, and stay where one of them stays.
        if twins.iter().all(|file| chosen.contains(file.as_path())) {
            if twins.first().is_some_and(|first| first == raw) {
                files.extend(companions);
            }
        } else if way == Way::Copy {
            files.extend(companions);
        }
    } else {
        files.extend(companions);
    }
    if way == Way::Move {
        for file in &files {
            if std::fs::symlink_metadata(file).is_ok_and(|facts| facts.is_symlink()) {
                return Err(format!(
                    "{} is a symbolic link; move the file it leads to, or use --copy-to",
                    file.display()
                ));
            }
        }
    }
    files
        .into_iter()
        .map(|from| {
            let name = from.file_name().ok_or("has no file name")?.to_os_string();
            Ok((from, folder.join(name)))
        })
        .collect()
}

/// Nothing may be written over: neither what is there, nor two files of one name. Told before anything is done.
pub(super) fn check_targets(plans: &[(usize, Vec<(PathBuf, PathBuf)>)], folder: &Path) -> Result<(), Failure> {
    if folder.exists() && !folder.is_dir() {
        return Err(Failure::usage(format!("{}: is not a folder", folder.display())));
    }
    let mut there: HashMap<String, PathBuf> = HashMap::new();
    if let Ok(entries) = std::fs::read_dir(folder) {
        for entry in entries.flatten() {
            there.insert(folded(Path::new(&entry.file_name())), entry.path());
        }
    }
    for (from, to) in plans.iter().flat_map(|p| &p.1) {
        let Some(name) = to.file_name() else { continue };
        if let Some(other) = there.insert(folded(Path::new(name)), from.clone()) {
            let (why, then) = if other.starts_with(folder) && other.parent() == Some(folder) {
                ("exists already", "choose another folder")
            } else {
                (
                    "has the same name there",
                    "audit each of their folders into a record of its own (--record), and send each record's frames to a \
                     folder of their own",
                )
            };
            return Err(Failure::nothing(format!(
                "{}: {} {why}; nothing was copied or moved; {then}",
                from.display(),
                other.display()
            )));
        }
    }
    Ok(())
}
