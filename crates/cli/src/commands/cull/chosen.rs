//! The frames that are meant. Of each no more is held than acting on it asks for: a record may name a hundred thousand.

use std::collections::{HashMap, HashSet};
use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};

use rawassay_analysis::Brief;
use rawassay_report::record::key_of_path;
use rawassay_report::{FileId, Record};

use super::deed::Deed;
use super::select::Selection;
use super::sidecars;
use crate::commands::shared;
use crate::messages::{self, Failure};
use crate::{frames, identity, target};

/// A frame that is meant.
pub struct Chosen {
    /// What will be said of it.
    pub deed: Deed,
    /// Where its file is; where it was when it cannot be found. Empty where nothing is done with it.
    pub raw: PathBuf,
    /// What its file was when it was measured.
    pub id: FileId,
    /// True where size and time do not tell it from another frame of the records, or it was found in another place than
    /// where it was measured: then its content must.
    pub by_content: bool,
    /// What its sidecar will hold; empty where none is written.
    pub measures: Box<[(&'static str, f64)]>,
}

/// Raws that share a folder and a stem, and so a sidecar.
pub type Shared = HashMap<(PathBuf, OsString), Vec<PathBuf>>;

/// What is to be done with the frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// They are listed.
    List,
    /// Their sidecars are written.
    Sidecars,
    /// They are copied or moved.
    Transfer,
}

/// Frames of the records: those meant, those of all that share a sidecar, and how many there are.
pub struct Found {
    pub chosen: Vec<Chosen>,
    pub shared: Shared,
    pub frames: usize,
}

/// Reads the records and keeps the frames that meet the selection.
pub fn find(records: &[PathBuf], brief: &Brief, selection: &Selection, act: Act) -> Result<Found, Failure> {
    let condition = selection.condition()?;
    let (mut named, mut fits, mut outside) = (false, false, None);
    let mut beside = Vec::new();
    let all = frames::each(records, brief, selection.crop, |record, judgement, source| {
        if selection.names(&record.file) {
            named = true;
            let misses = shared::outside(&record.file, selection.crop, record.shot.as_ref());
            fits |= misses.is_none() && (selection.crop.is_none() || record.shot.is_some());
            outside = outside.take().or(misses);
        }
        // Also those that are not meant have a say in whose a sidecar is, and which are alike.
        let own = record.path();
        let raw = match act {
            Act::List => PathBuf::new(),
            _ => record.locate(source).unwrap_or_else(|| own.clone()),
        };
        let meant = condition(&record.file, judgement);
        if meant && act != Act::List {
            beside.extend(copy_beside(record, source, &raw).map(|other| (raw.clone(), other)));
        }
        if !meant {
            return (raw, record.file_id.clone(), None);
        }
        let measures = if act == Act::Sidecars { sidecars::measures(record, judgement) } else { Vec::new() };
        let chosen = Chosen {
            deed: Deed::new(&record.file, judgement),
            by_content: raw != own,
            raw: PathBuf::new(),
            id: FileId::default(),
            measures: measures.into(),
        };
        (raw, record.file_id.clone(), Some(Box::new(chosen)))
    })?;
    if !named {
        return Err(shared::no_such_frame(&selection.names));
    }
    match outside {
        Some(why) if !fits => return Err(Failure::usage(why)),
        Some(why) => messages::warning(&why),
        None => {}
    }
    if !beside.is_empty() {
        warn_of_copies(&beside, &all.iter().map(|(raw, ..)| key_of_path(raw)).collect());
    }
    let shared = if act == Act::List { Shared::new() } else { shared_stems(all.iter().map(|(raw, ..)| raw)) };
    let twins: HashSet<(u64, Option<String>)> = identity::twins(all.iter().map(|(_, id, _)| id))
        .into_iter()
        .map(|(size, time)| (size, time.map(Into::into)))
        .collect();
    let frames = all.len();
    let chosen = all
        .into_iter()
        .filter_map(|(raw, id, chosen)| {
            let chosen = chosen?;
            let by_content = chosen.by_content || twins.contains(&(id.size, id.mtime.clone()));
            Some(Chosen { raw, id, by_content, ..*chosen })
        })
        .collect();
    Ok(Found { chosen, shared, frames })
}

/// Says where files of the same names and sizes, which no record has, stand beside the record as well: a shoot that was copied
/// together with its record. Those that were audited are meant.
fn warn_of_copies(beside: &[(PathBuf, PathBuf)], audited: &HashSet<String>) {
    let copies: Vec<_> = beside.iter().filter(|(_, other)| !audited.contains(&key_of_path(other))).collect();
    let Some((raw, other)) = copies.first() else { return };
    let (others, stand, file, was) = match copies.len() {
        1 => (String::new(), "stands", "file", "was"),
        n => (format!(" and {} more", n - 1), "stand", "files", "were"),
    };
    messages::warning(&format!(
        "{}{others} {stand} beside the record, but the record means the {file} that {was} audited ({}); audit this folder to use \
         what is in it",
        other.display(),
        raw.display()
    ));
}

/// The file beside the record that may be a copy of the raw.
fn copy_beside(record: &Record, source: &Path, raw: &Path) -> Option<PathBuf> {
    let other = record.beside(source)?;
    let alike = std::fs::metadata(&other).is_ok_and(|m| m.len() == record.file_id.size) && raw.is_file();
    (alike && !target::same(&other, raw)).then_some(other)
}

/// Folder and stem: what raw, sidecar and camera JPEG have in common.
pub fn stem_of(raw: &Path) -> (PathBuf, OsString) {
    let (folder, stem) = stem(raw);
    (folder.to_path_buf(), stem.to_os_string())
}

fn stem(raw: &Path) -> (&Path, &OsStr) {
    (raw.parent().unwrap_or(Path::new("")), raw.file_stem().unwrap_or_default())
}

/// Raws that share a folder and a stem, in their order.
fn shared_stems<'a>(raws: impl Iterator<Item = &'a PathBuf>) -> Shared {
    let mut raws: Vec<&Path> = raws.map(PathBuf::as_path).collect();
    raws.sort_by_key(|raw| stem(raw));
    let groups = raws.chunk_by(|a, b| stem(a) == stem(b)).filter(|group| group.len() > 1);
    groups.map(|group| (stem_of(group[0]), group.iter().map(|raw| raw.to_path_buf()).collect())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn raws_of_one_stem_share_in_their_order_and_others_do_not() {
        let raws = ["a/F2.DNG", "a/F1.DNG", "b/F1.DNG", "a/F1.CR2", "a/F10.DNG"].map(PathBuf::from);
        let shared = shared_stems(raws.iter());
        assert_eq!(shared.len(), 1);
        assert_eq!(shared[&stem_of(&raws[1])], [raws[1].clone(), raws[3].clone()]);
    }
}
