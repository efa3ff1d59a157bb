//! Where a command may write: never over a raw, an input of the run, a record or an undo list; over another file only
//! where this program wrote it, or where the user insists (`--force`).
//!
//! A place for output is a [`Target`], and only [`Target::check`] makes one: no command can forget to ask. The check is
//! made before the work begins, and once more, of the content alone, when the file is opened.

mod ours;

pub use ours::TEXT_MARK;

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use rawassay_decode::{begins_as_raw, is_raw_name};

use crate::messages::Failure;
use crate::output::plain_cause;

/// Where output goes, as asked on the command line.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct OutFile {
    /// Write to this file, not to stdout
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Replace the file at --out though rawassay did not write it (never a raw, an input or a record)
    #[arg(long, requires = "out")]
    pub force: bool,
}

impl OutFile {
    /// The file, checked for a run that reads `inputs`; `None` where stdout is meant.
    ///
    /// # Errors
    /// As [`Target::check`].
    pub fn target<P: AsRef<Path>>(&self, inputs: &[P]) -> Result<Option<Target>, Failure> {
        self.out
            .as_deref()
            .map(|out| named_as_written(out).and_then(|()| Target::check("--out", out, self.force, inputs)))
            .transpose()
    }
}

/// Extensions of forms that other programs write: a table under such a name would not open in them.
const FORMS_OF_OTHERS: [&str; 14] =
    ["xlsx", "xls", "ods", "numbers", "doc", "docx", "odt", "pdf", "html", "htm", "xml", "parquet", "sqlite", "png"];

/// Refuses a name that promises a form that is not written.
fn named_as_written(path: &Path) -> Result<(), Failure> {
    let extension = path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).unwrap_or_default();
    let pages = if extension.starts_with("htm") { "; for pages use `rawassay page`" } else { "" };
    if FORMS_OF_OTHERS.contains(&extension.as_str()) {
        let why = format!("rawassay writes no .{extension}; name a .csv (spreadsheets open it) or .json file{pages}");
        return Err(refusal("--out", path, &why));
    }
    Ok(())
}

/// A file that may be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Target {
    path: PathBuf,
    force: bool,
}

impl Target {
    /// Checks that `path` may be written by a run that reads `inputs`; `option` is what the user called it (`--out`).
    ///
    /// # Errors
    /// Wrong usage, with the reason and what to do.
    pub fn check<P: AsRef<Path>>(option: &str, path: &Path, force: bool, inputs: &[P]) -> Result<Self, Failure> {
        no_dash(option, path, if option == "--out" { "; for stdout leave --out away" } else { "" })?;
        if let Some(input) = inputs.iter().map(AsRef::as_ref).find(|input| same(path, input)) {
            let also = if input == path { String::new() } else { format!(", by another name ({})", input.display()) };
            return Err(refusal(option, path, &format!("is read by this very command{also}; name another file")));
        }
        let target = Self { path: path.to_path_buf(), force };
        target.content(option)?;
        Ok(target)
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Checks it against more inputs, found since.
    ///
    /// # Errors
    /// As [`Target::check`].
    pub fn check_against<P: AsRef<Path>>(&self, inputs: &[P]) -> Result<(), Failure> {
        Self::check("--out", &self.path, self.force, inputs).map(|_| ())
    }

    /// Looks at the place again, just before it is written.
    ///
    /// # Errors
    /// As [`Target::check`].
    pub fn look_again(&self) -> Result<(), Failure> {
        self.content("--out")
    }

    fn content(&self, option: &str) -> Result<(), Failure> {
        let refuse = |why: &str| Err(refusal(option, &self.path, why));
        if self.path.is_dir() {
            return refuse("this is a folder; name a file");
        }
        // A link is followed: what counts is what would be replaced.
        let real = self.path.canonicalize().unwrap_or_else(|_| self.path.clone());
        if is_raw_name(&self.path) || is_raw_name(&real) {
            return refuse("is named like a raw file, and raws are never written; name another file");
        }
        match Found::at(&self.path) {
            Found::Nothing | Found::Ours => Ok(()),
            Found::Raw => refuse("is a raw file, and raws are never written over; name another file"),
            Found::Record => refuse(
                "is a record of audit, which judge, series, sets, enlarge, cull and page read; name another file",
            ),
            Found::UndoList => refuse("is an undo list of cull; name another file"),
            Found::Foreign if self.force => Ok(()),
            Found::Foreign => refuse(
                "exists, and rawassay did not write it or it was changed since; name another file, or --force to \
                 replace it",
            ),
            Found::Unreadable(cause) => refuse(&format!("exists and cannot be read ({cause}); name another file")),
        }
    }
}

/// Checks that a file that is only appended to, a record or an undo list, is one or is new.
///
/// # Errors
/// Wrong usage, with the reason and what to do.
pub fn check_growing<P: AsRef<Path>>(option: &str, path: &Path, undo_list: bool, inputs: &[P]) -> Result<(), Failure> {
    no_dash(option, path, "")?;
    let refuse = |why: &str| Err(refusal(option, path, why));
    let real = path.canonicalize().unwrap_or_else(|_| path.to_path_buf());
    if is_raw_name(path) || is_raw_name(&real) {
        return refuse("is named like a raw file, and raws are never written; name another file");
    }
    if inputs.iter().any(|input| same(path, input.as_ref())) {
        return refuse("is read by this very command; name another file");
    }
    match (Found::at(path), undo_list) {
        (Found::Nothing, _) | (Found::UndoList, true) | (Found::Record, false) => Ok(()),
        (Found::Raw, _) => refuse("is a raw file, and raws are never written over; name another file"),
        (_, true) => refuse("exists and is no undo list; name another file with --undo-list"),
        // What else is wrong with a record, its reader says better.
        (_, false) => Ok(()),
    }
}

/// Refuses `-`, which elsewhere means stdin or stdout: nobody who writes it means a file of that name.
fn no_dash(option: &str, path: &Path, hint: &str) -> Result<(), Failure> {
    if path.as_os_str() == "-" {
        return Err(refusal(option, path, &format!("names no file (one of that name is ./-){hint}")));
    }
    Ok(())
}

fn refusal(option: &str, path: &Path, why: &str) -> Failure {
    Failure::usage(rawassay_report::table::printable(&format!("{option} {}: {why}", path.display())))
}

/// True where both lead to one file, by whatever names and links.
pub fn same(a: &Path, b: &Path) -> bool {
    // The sizes tell most pairs apart without opening thousands of files.
    let size = |path: &Path| std::fs::metadata(path).ok().filter(|m| !m.is_dir()).map(|m| m.len());
    let by_name = || {
        let absolute = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_path_buf());
        absolute(a) == absolute(b)
    };
    match (size(a), size(b)) {
        (Some(one), Some(other)) => one == other && same_file::is_same_file(a, b).unwrap_or_else(|_| by_name()),
        (None, None) => by_name(),
        _ => false,
    }
}

/// What stands at a place.
enum Found {
    /// No file, an empty one, or a device.
    Nothing,
    /// Something that this program wrote and writes anew.
    Ours,
    Raw,
    Record,
    UndoList,
    Foreign,
    Unreadable(String),
}

impl Found {
    fn at(path: &Path) -> Self {
        let mut file = match std::fs::metadata(path) {
            // A device, a pipe: nothing is lost by writing to it.
            Ok(facts) if !facts.is_file() || facts.len() == 0 => return Self::Nothing,
            Ok(_) => match File::open(path) {
                Ok(file) => file,
                Err(e) => return Self::Unreadable(plain_cause(&e)),
            },
            Err(_) => return Self::Nothing,
        };
        let mut head = Vec::new();
        if let Err(e) = (&mut file).take(64).read_to_end(&mut head) {
            return Self::Unreadable(plain_cause(&e));
        }
        if begins_as_raw(&head) {
            Self::Raw
        } else if head.starts_with(b"{\"record\":") {
            Self::Record
        } else if head.starts_with(b"{\"step\":") {
            Self::UndoList
        } else if ours::wrote(path) {
            Self::Ours
        } else {
            Self::Foreign
        }
    }
}

/// Checks the folder that pages are written to: it holds no raws, and no page of somebody else that would be replaced.
///
/// # Errors
/// Wrong usage, with the reason and what to do.
pub fn check_page_folder(folder: &Path, force: bool) -> Result<(), Failure> {
    no_dash("--out", folder, "")?;
    let refuse = |path: &Path, why: &str| Err(refusal("--out", path, why));
    if is_raw_name(folder) {
        return refuse(folder, "is named like a raw file; name a folder");
    }
    if !folder.is_dir() {
        return if folder.exists() { refuse(folder, "is not a folder; name a folder of its own") } else { Ok(()) };
    }
    let entries = std::fs::read_dir(folder).map_err(|e| {
        refusal("--out", folder, &format!("cannot be looked into ({}); name a folder of its own", plain_cause(&e)))
    })?;
    if entries.flatten().any(|entry| is_raw_name(&entry.path()) && entry.path().is_file()) {
        return refuse(folder, "holds raw files; name a folder of its own for the pages");
    }
    for name in ["index.html", "series.html", "sets.html", "words.html", "rawassay.css", "rawassay.js"] {
        let path = folder.join(name);
        match Found::at(&path) {
            Found::Nothing | Found::Ours => {}
            Found::Foreign if force || name.starts_with("rawassay.") || is_our_page(&path) => {}
            _ => {
                return refuse(
                    &path,
                    "is there already, and rawassay did not write it; name a folder of its own, or --force to replace it",
                );
            }
        }
    }
    Ok(())
}

/// True where this program wrote the page.
fn is_our_page(path: &Path) -> bool {
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(4096).read_to_end(&mut head));
    read.is_ok() && String::from_utf8_lossy(&head).contains("rawassay.css\">")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn what_may_be_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str, content: &[u8]| {
            let path = folder.path().join(name);
            std::fs::write(&path, content).unwrap();
            path
        };
        let none: [&Path; 0] = [];
        let check = |path: &Path, force| Target::check("--out", path, force, &none);
        for (name, content, plain, forced) in [
            ("raw.csv", &b"II*\0\x08\0\0\0"[..], false, false),
            ("record.csv", b"{\"record\":1,\"file\":\"a\"}\n", false, false),
            ("undo.csv", b"{\"step\":\"run\",\"at\":\"x\"}\n", false, false),
            ("x.dng", b"", false, false),
            ("notes.csv", b"file,my notes\na,b\n", false, true),
            ("notes.json", b"{\"mine\":1}\n", false, true),
            ("empty.csv", b"", true, true),
            ("array.json", b"[]\n", true, true),
            ("cards.ndjson", b"{\"schema\":1,\"file\":\"a\"}\n", true, true),
            ("told.txt", b"# rawassay 1.0.0 edge\nx\n", true, true),
        ] {
            let path = at(name, content);
            assert_eq!(check(&path, false).is_ok(), plain, "{name}");
            assert_eq!(check(&path, true).is_ok(), forced, "{name} forced");
        }
        assert!(check(&folder.path().join("new.csv"), false).is_ok());
        assert!(check(&folder.path().join("new.NEF"), true).is_err());
        assert!(check(folder.path(), true).is_err());
    }

    #[test]
    fn inputs_are_known_by_any_name() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("wall.toml"), "x").unwrap();
        std::fs::hard_link(at("wall.toml"), at("hard.csv")).unwrap();
        std::fs::write(at("other.csv"), "y").unwrap();
        let inputs = [at("wall.toml")];
        for name in ["wall.toml", "hard.csv"] {
            let told = Target::check("--out", &at(name), true, &inputs).unwrap_err().to_string();
            assert!(told.contains("read by this very command"), "{told}");
        }
        assert!(Target::check("--out", &at("other.csv"), true, &inputs).is_ok());
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink("wall.toml", at("soft.csv")).unwrap();
            assert!(Target::check("--out", &at("soft.csv"), true, &inputs).is_err());
        }
    }
}
