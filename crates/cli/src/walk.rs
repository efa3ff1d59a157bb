//! From the PATHs of the command line to the list of files to audit.
//!
//! Folders are walked in name order; hidden entries and files without a raw file's extension are left out. A file that
//! is named stays in the list whatever it is: it gets its row. Links to folders outside the walked one are followed
//! once; a link back into it would only show the same files again, or go round for ever.

use std::collections::HashSet;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use rawassay_decode::is_raw_name;
use rawassay_report::record::key_of_path;
use walkdir::WalkDir;

use crate::messages::Failure;
use crate::output::plain_cause;

/// A file to audit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Path as given, or below a folder as given.
    pub path: PathBuf,
    /// What names it in the record: the same file given twice is audited once.
    pub key: String,
}

/// What a walk gave.
#[derive(Debug, Default)]
pub struct Walk {
    /// The files, in order.
    pub files: Vec<Found>,
    /// Folders that could not be read, one line each.
    pub faults: Vec<String>,
    seen: HashSet<String>,
}

impl Walk {
    /// Walks the paths; `-` reads further paths from `list`, one per line.
    pub fn of(paths: &[PathBuf], list: &mut dyn Read) -> io::Result<Self> {
        let mut walk = Self::default();
        for path in paths {
            if path.as_os_str() == "-" {
                for listed in read_list(list)? {
                    walk.add(&listed);
                }
            } else {
                walk.add(path);
            }
        }
        walk.seen = HashSet::new();
        Ok(walk)
    }

    fn add(&mut self, path: &Path) {
        if path.is_dir() { self.folder(path) } else { self.file(path.to_path_buf()) }
    }

    fn file(&mut self, path: PathBuf) {
        let key = key_of_path(&path);
        if self.seen.insert(key.clone()) {
            self.files.push(Found { path, key });
        }
    }

    fn folder(&mut self, top: &Path) {
        let inside = top.canonicalize().unwrap_or_else(|_| top.to_path_buf());
        let mut linked: HashSet<PathBuf> = HashSet::new();
        let walker = WalkDir::new(top).follow_links(true).sort_by_file_name().into_iter().filter_entry(|entry| {
            if entry.depth() == 0 {
                return true;
            }
            if entry.file_name().as_encoded_bytes().starts_with(b".") {
                return false;
            }
            if entry.path_is_symlink() && entry.file_type().is_dir() {
                return match entry.path().canonicalize() {
                    Ok(target) => !target.starts_with(&inside) && !inside.starts_with(&target) && linked.insert(target),
                    Err(_) => false,
                };
            }
            true
        });
        for entry in walker {
            match entry {
                Ok(entry) if entry.file_type().is_file() && is_raw_name(entry.path()) => self.file(entry.into_path()),
                Ok(_) => {}
                Err(error) if error.loop_ancestor().is_some() => {}
                Err(error) => self.fault(&error, top),
            }
        }
    }

    fn fault(&mut self, error: &walkdir::Error, top: &Path) {
        let path = error.path().unwrap_or(top);
        // A link to nowhere, or a raw that went away while we looked, is a file that cannot be read: a row.
        if !path.is_dir() {
            if is_raw_name(path) {
                self.file(path.to_path_buf());
            }
            return;
        }
        let cause = error.io_error().map_or_else(|| error.to_string(), plain_cause);
        self.faults.push(format!("{}: this folder cannot be read ({cause}); its files are left out", path.display()));
    }
}

/// Refuses names on the command line that lead nowhere: nothing is half done over a slip of the keyboard. Of several, one
/// that is named like a raw file gets its row instead, as does a path of a list on stdin, and a link to nowhere: a raw
/// that was just moved must not stop the others.
///
/// # Errors
/// Wrong usage; where two names make one that exists, quotes are what is missing.
pub fn missing(paths: &[PathBuf]) -> Result<(), Failure> {
    let gone = |path: &PathBuf| {
        let nowhere = |e: io::Error| matches!(e.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory);
        path.as_os_str() != "-" && std::fs::symlink_metadata(path).is_err_and(nowhere)
    };
    let all_gone = paths.iter().all(gone);
    let Some(at) = paths.iter().position(|path| gone(path) && (all_gone || !is_raw_name(path))) else { return Ok(()) };
    let name = |path: &Path| rawassay_report::table::printable(&path.display().to_string());
    for from in 0..paths.len() {
        for to in from + 1..paths.len() {
            let mut joined = std::ffi::OsString::new();
            for (k, path) in paths[from..=to].iter().enumerate() {
                joined.push(if k > 0 { " " } else { "" });
                joined.push(path);
            }
            if Path::new(&joined).exists() {
                return Err(Failure::usage(format!(
                    "{}: no such file or folder; a name with spaces needs quotes: '{}'",
                    name(&paths[at]),
                    name(Path::new(&joined))
                )));
            }
        }
    }
    Err(Failure::usage(format!("{}: no such file or folder; check the name, nothing was done", name(&paths[at]))))
}

/// Paths one per line, as bytes: names need not be UTF-8. Where the list holds a NUL, paths end with NUL instead
/// (`find -print0`).
fn read_list(list: &mut dyn Read) -> io::Result<Vec<PathBuf>> {
    let mut bytes = Vec::new();
    list.read_to_end(&mut bytes)?;
    let end = if bytes.contains(&0) { 0 } else { b'\n' };
    Ok(bytes
        .split(|&b| b == end)
        .map(|line| if end == b'\n' { line.strip_suffix(b"\r").unwrap_or(line) } else { line })
        .filter(|line| !line.is_empty())
        .map(path_of_bytes)
        .collect())
}

#[cfg(unix)]
fn path_of_bytes(bytes: &[u8]) -> PathBuf {
    use std::os::unix::ffi::OsStrExt;
    PathBuf::from(std::ffi::OsStr::from_bytes(bytes))
}

#[cfg(not(unix))]
fn path_of_bytes(bytes: &[u8]) -> PathBuf {
    PathBuf::from(String::from_utf8_lossy(bytes).into_owned())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use std::fs;

    use super::*;

    fn names(walk: &Walk, top: &Path) -> Vec<String> {
        walk.files.iter().map(|f| f.path.strip_prefix(top).unwrap().to_string_lossy().into_owned()).collect()
    }

    #[test]
    fn raws_in_name_order_hidden_left_out_and_each_once() {
        let folder = tempfile::tempdir().unwrap();
        let top = folder.path();
        fs::create_dir_all(top.join("b/.trash")).unwrap();
        for name in ["b/2.dng", "b/1.CR2", "a.nef", "c.dng", ".hidden.dng", "b/.trash/x.dng", "note.txt", "z.jpg"] {
            fs::write(top.join(name), "").unwrap();
        }
        let paths = [top.to_path_buf(), top.join("c.dng"), top.join("note.txt"), top.join("b/../a.nef")];
        let walk = Walk::of(&paths, &mut io::empty()).unwrap();
        assert_eq!(names(&walk, top), ["a.nef", "b/1.CR2", "b/2.dng", "c.dng", "note.txt"]);
        assert!(walk.faults.is_empty());
    }

    #[test]
    fn a_name_that_leads_nowhere_is_told_with_the_quotes_it_lacks() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("my shoot")).unwrap();
        fs::create_dir(folder.path().join("shoot")).unwrap();
        let at = |name: &str| folder.path().join(name);
        assert!(missing(&[at("shoot"), PathBuf::from("-")]).is_ok());
        let told = missing(&[at("my"), PathBuf::from("shoot")]).unwrap_err().to_string();
        assert!(told.contains("needs quotes") && told.contains("my shoot'"), "{told}");
        assert!(missing(&[at("shoots")]).unwrap_err().to_string().contains("no such file or folder"));
    }

    #[test]
    fn lists_come_by_line_or_by_nul() {
        let by_line = read_list(&mut &b"a b.dng\r\n\nc.dng"[..]).unwrap();
        assert_eq!(by_line, [PathBuf::from("a b.dng"), PathBuf::from("c.dng")]);
        let by_nul = read_list(&mut &b"a\nb.dng\0c.dng\0"[..]).unwrap();
        assert_eq!(by_nul, [PathBuf::from("a\nb.dng"), PathBuf::from("c.dng")]);
    }

    #[cfg(unix)]
    #[test]
    fn links_never_go_round_and_never_show_a_file_twice() {
        use std::os::unix::fs::symlink;
        let folder = tempfile::tempdir().unwrap();
        let top = folder.path().join("shoot");
        let other = folder.path().join("card");
        fs::create_dir_all(top.join("sub")).unwrap();
        fs::create_dir_all(&other).unwrap();
        fs::write(top.join("sub/1.dng"), "").unwrap();
        fs::write(other.join("2.dng"), "").unwrap();
        symlink(&top, top.join("sub/round")).unwrap();
        symlink(top.join("sub"), top.join("again")).unwrap();
        symlink(&other, top.join("card1")).unwrap();
        symlink(&other, top.join("card2")).unwrap();
        symlink("nowhere.dng", top.join("gone.dng")).unwrap();
        let walk = Walk::of(std::slice::from_ref(&top), &mut io::empty()).unwrap();
        assert_eq!(names(&walk, &top), ["card1/2.dng", "gone.dng", "sub/1.dng"]);
    }
}
