//! What belongs to a raw file: its XMP sidecar and the camera's JPEG of the same name.

use std::collections::HashMap;
use std::ffi::OsString;
use std::path::{Path, PathBuf};

/// The files of the folders looked into, each folder read once.
#[derive(Default)]
pub struct Folders {
    names: HashMap<PathBuf, Vec<OsString>>,
}

impl Folders {
    fn names(&mut self, folder: &Path) -> &[OsString] {
        self.names.entry(folder.to_path_buf()).or_insert_with(|| {
            let mut names: Vec<OsString> = match std::fs::read_dir(folder) {
                Ok(entries) => entries.filter_map(|entry| Some(entry.ok()?.file_name())).collect(),
                // What cannot be listed has no companions that could be taken along.
                Err(_) => Vec::new(),
            };
            names.sort();
            names
        })
    }

    /// The companions of a raw: same stem with the extension xmp, jpg or jpeg in any case, or the raw's whole name with
    /// .xmp behind it.
    pub fn companions(&mut self, raw: &Path) -> Vec<PathBuf> {
        let (Some(folder), Some(name), Some(stem)) = (raw.parent(), raw.file_name(), raw.file_stem()) else {
            return Vec::new();
        };
        let belongs = |other: &OsString| {
            let path = Path::new(other);
            let is = |wanted: &str| path.extension().is_some_and(|e| e.eq_ignore_ascii_case(wanted));
            let same_stem = path.file_stem() == Some(stem) && (is("xmp") || is("jpg") || is("jpeg"));
            other != name && (same_stem || (is("xmp") && path.file_stem() == Some(name)))
        };
        let found: Vec<PathBuf> = self.names(folder).iter().filter(|n| belongs(n)).map(|n| folder.join(n)).collect();
        found.into_iter().filter(|p| p.is_file()).collect()
    }

    /// The sidecar of a raw: the one that is there (its extension in any case), else the raw's name with .xmp.
    pub fn sidecar(&mut self, raw: &Path) -> PathBuf {
        let there = self.companions(raw).into_iter().find(|path| {
            path.file_stem() == raw.file_stem() && path.extension().is_some_and(|e| e.eq_ignore_ascii_case("xmp"))
        });
        there.unwrap_or_else(|| raw.with_extension("xmp"))
    }
}

/// Two names that are one on a file system that does not tell cases apart.
pub fn folded(path: &Path) -> String {
    path.to_string_lossy().to_lowercase()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn sidecars_and_jpegs_of_the_same_stem_belong() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["F1.DNG", "F1.XMP", "F1.jpg", "F1.DNG.xmp", "F10.xmp", "F1.txt", "f1.jpg.bak", "F2.DNG"] {
            std::fs::write(folder.path().join(name), name).unwrap();
        }
        let names = |raw: &str| -> Vec<String> {
            let found = Folders::default().companions(&folder.path().join(raw));
            found.iter().map(|p| p.file_name().unwrap().to_string_lossy().into_owned()).collect()
        };
        assert_eq!(names("F1.DNG"), ["F1.DNG.xmp", "F1.XMP", "F1.jpg"]);
        assert!(names("F2.DNG").is_empty());
        let mut folders = Folders::default();
        assert!(folders.sidecar(&folder.path().join("F1.DNG")).ends_with("F1.XMP"));
        assert!(folders.sidecar(&folder.path().join("F2.DNG")).ends_with("F2.xmp"));
    }
}
