//! Writes the folder: each file whole or not at all, and only where it changed.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::error::ReportError;

/// The stylesheet of every page.
pub const STYLESHEET: &str = include_str!("assets/rawassay.css");
/// The script of every page.
pub const SCRIPT: &str = include_str!("assets/rawassay.js");

/// The folder of pages.
#[derive(Debug, Clone)]
pub struct Folder {
    root: PathBuf,
}

impl Folder {
    /// Makes the folder and its parts where they are missing.
    ///
    /// # Errors
    /// Where a folder cannot be made.
    pub fn create(root: &Path) -> Result<Self, ReportError> {
        for part in ["frames", "pictures", "drawn"] {
            let path = root.join(part);
            fs::create_dir_all(&path).map_err(|source| ReportError::Io { path, source })?;
        }
        Ok(Self { root: root.to_path_buf() })
    }

    /// The path of a file in it.
    #[must_use]
    pub fn path(&self, name: &str) -> PathBuf {
        self.root.join(name)
    }

    /// Writes a file, where its content differs from what is there: first beside it, then renamed into place, so that a
    /// reader sees the old file or the new one. True where it was written.
    ///
    /// # Errors
    /// Where writing fails.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<bool, ReportError> {
        let path = self.path(name);
        if fs::metadata(&path).is_ok_and(|m| m.len() == bytes.len() as u64)
            && fs::read(&path).is_ok_and(|old| old == bytes)
        {
            return Ok(false);
        }
        let part = path.with_extension(format!("part-{}", std::process::id()));
        let written =
            fs::File::create(&part).and_then(|mut file| file.write_all(bytes)).and_then(|()| fs::rename(&part, &path));
        written.map_err(|source| {
            let _ = fs::remove_file(&part);
            ReportError::Io { path, source }
        })?;
        Ok(true)
    }

    /// Removes pages and pictures whose frame is no longer in the record. Only names as [`super::html::page_id`] makes
    /// them are touched; anything else in the folder stays.
    ///
    /// # Errors
    /// Where a part of the folder cannot be listed.
    pub fn sweep(&self, keep: &std::collections::HashSet<String>) -> Result<usize, ReportError> {
        let mut removed = 0;
        for part in ["frames", "pictures", "drawn"] {
            let path = self.path(part);
            let entries = fs::read_dir(&path).map_err(|source| ReportError::Io { path: path.clone(), source })?;
            for entry in entries.flatten() {
                let name = entry.file_name().to_string_lossy().into_owned();
                if owner(&name).is_some_and(|id| !keep.contains(id)) && fs::remove_file(entry.path()).is_ok() {
                    removed += 1;
                }
            }
        }
        Ok(removed)
    }
}

/// The page id that a file of ours belongs to; `None` where the file is not ours.
fn owner(name: &str) -> Option<&str> {
    let (stem, extension) = name.rsplit_once('.')?;
    if !matches!(extension, "html" | "json" | "jpg" | "png") {
        return None;
    }
    let stem = match stem.find("-clipped-") {
        Some(at) => &stem[..at],
        None => ["-small", "-blocked", "-sharpest", "-softest", "-patch"]
            .iter()
            .find_map(|s| stem.strip_suffix(s))
            .unwrap_or(stem),
    };
    // Plain letters and digits, and the twelve digits of the digest, alone, last, or before a number.
    let digest = |part: &str| part.len() == 12 && part.bytes().all(|b| b.is_ascii_hexdigit());
    let plain = stem.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
    (plain && stem.split('-').any(digest)).then_some(stem)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::page::html::page_id;

    #[test]
    fn only_files_of_ours_have_an_owner() {
        let id = page_id("a/img_1.dng");
        for suffix in
            [".html", ".jpg", "-small.jpg", "-clipped-g1.png", "-blocked.png", "-sharpest.jpg", "-patch.jpg", ".json"]
        {
            assert_eq!(owner(&format!("{id}{suffix}")), Some(id.as_str()), "{suffix}");
        }
        for other in ["notes.html", "IMG_1.jpg", "holiday.png", "index", "abcdef012345.tiff", "a b-abcdef012345.jpg"] {
            assert_eq!(owner(other), None, "{other}");
        }
    }

    #[test]
    fn files_are_written_once_and_swept_when_their_frame_is_gone() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::create(dir.path()).unwrap();
        let (one, two) = (page_id("one.dng"), page_id("two.dng"));
        for id in [&one, &two] {
            assert!(folder.write(&format!("frames/{id}.html"), b"x").unwrap());
            assert!(!folder.write(&format!("frames/{id}.html"), b"x").unwrap());
        }
        assert!(folder.write(&format!("frames/{one}.html"), b"y").unwrap());
        fs::write(dir.path().join("pictures/mine.jpg"), b"z").unwrap();
        assert_eq!(folder.sweep(&[one.clone()].into()).unwrap(), 1);
        assert!(folder.path(&format!("frames/{one}.html")).exists());
        assert!(!folder.path(&format!("frames/{two}.html")).exists());
        assert!(dir.path().join("pictures/mine.jpg").exists());
        assert!(
            !fs::read_dir(dir.path().join("frames"))
                .unwrap()
                .flatten()
                .any(|e| e.path().extension().unwrap() != "html")
        );
    }
}
