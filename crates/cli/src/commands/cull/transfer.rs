//! Copying and moving one file so that nothing can be lost: never over another file, and a source leaves its folder only
//! after its copy was read back and found equal.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::Path;

use crate::output::cause;

/// Bytes read at a time.
const BLOCK: usize = 1 << 20;

/// Copies `from` to `to`, which must not exist: writes, syncs, reads back and compares; keeps the modification time and
/// the permissions. A copy that fails is taken away again.
///
/// # Errors
/// One line without the source's name.
pub fn copy(from: &Path, to: &Path) -> Result<(), String> {
    let mut source = File::open(from).map_err(|e| format!("cannot be read ({})", cause(&e)))?;
    let facts = source.metadata().map_err(|e| format!("cannot be read ({})", cause(&e)))?;
    let mut target = create(to)?;
    let copied = write_and_check(&mut source, &mut target, to, facts.len());
    if let Err(what) = copied {
        drop(target);
        // Only what this call created.
        let _ = fs::remove_file(to);
        return Err(what);
    }
    if let Ok(modified) = facts.modified() {
        // Some file systems keep no times; the content is what counts.
        let _ = target.set_modified(modified);
    }
    let _ = target.set_permissions(facts.permissions());
    sync_folder(to);
    Ok(())
}

fn create(to: &Path) -> Result<File, String> {
    OpenOptions::new().write(true).create_new(true).open(to).map_err(|e| match e.kind() {
        io::ErrorKind::AlreadyExists => format!("{} exists already and is left as it is", to.display()),
        _ => format!("{} cannot be created ({}); check the folder and its permissions", to.display(), cause(&e)),
    })
}

fn write_and_check(source: &mut File, target: &mut File, to: &Path, size: u64) -> Result<(), String> {
    let mut hasher = blake3::Hasher::new();
    let mut block = vec![0; BLOCK];
    let mut total = 0;
    loop {
        let n = match source.read(&mut block) {
            Ok(0) => break,
            Ok(n) => n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(format!("cannot be read to its end ({})", cause(&e))),
        };
        hasher.update(&block[..n]);
        target.write_all(&block[..n]).map_err(|e| {
            format!("{} cannot be written ({}); check the disk and the folder", to.display(), cause(&e))
        })?;
        total += n as u64;
    }
    target
        .sync_all()
        .map_err(|e| format!("{} cannot be written ({}); check the disk and the folder", to.display(), cause(&e)))?;
    if total != size {
        return Err("changed while it was copied; try again".to_string());
    }
    let there = hash(to).map_err(|e| format!("the copy {} cannot be read back ({})", to.display(), cause(&e)))?;
    if there != hasher.finalize() {
        return Err(format!("the copy {} differs from its source; check the disk", to.display()));
    }
    Ok(())
}

/// BLAKE3 of a file's whole content.
pub fn hash(path: &Path) -> io::Result<blake3::Hash> {
    let mut file = File::open(path)?;
    let mut hasher = blake3::Hasher::new();
    let mut block = vec![0; BLOCK];
    loop {
        match file.read(&mut block) {
            Ok(0) => return Ok(hasher.finalize()),
            Ok(n) => {
                hasher.update(&block[..n]);
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
}

/// Moves `from` to `to`, which must not exist. Within one file system the file gets its second name first and loses its
/// first one then, so that at no time it has none and nothing can be written over; elsewhere it is copied and checked
/// before the source goes.
///
/// # Errors
/// One line without the source's name.
pub fn relocate(from: &Path, to: &Path) -> Result<(), String> {
    let linked = match fs::hard_link(from, to) {
        Ok(()) => true,
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {
            return Err(format!("{} exists already and is left as it is", to.display()));
        }
        // Another file system, or one without links.
        Err(_) => false,
    };
    if !linked {
        copy(from, to)?;
    }
    sync_folder(to);
    if let Err(e) = fs::remove_file(from) {
        // The source stays, so its second name goes again: nothing is moved by halves.
        let _ = fs::remove_file(to);
        return Err(format!("cannot be taken out of its folder ({}); it stays where it is", cause(&e)));
    }
    sync_folder(from);
    Ok(())
}

/// Writes a whole file in place of another, or anew: into a temporary file beside it, synced, then renamed over it, so
/// that a crash leaves the old one or the new one. A symbolic link stays one: its target is replaced.
///
/// # Errors
/// One line without the file's name.
pub fn replace(path: &Path, bytes: &[u8], must_be_new: bool) -> Result<(), String> {
    let cannot = |e: io::Error| format!("cannot be written ({}); check the folder's permissions and space", cause(&e));
    let target = match fs::symlink_metadata(path) {
        Ok(facts) if facts.is_symlink() => {
            fs::canonicalize(path).map_err(|e| format!("is a symbolic link that leads nowhere ({})", cause(&e)))?
        }
        _ => path.to_path_buf(),
    };
    let folder = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut temporary = tempfile::Builder::new().prefix(".rawassay-").tempfile_in(folder).map_err(cannot)?;
    temporary.write_all(bytes).and_then(|()| temporary.as_file().sync_all()).map_err(cannot)?;
    match fs::metadata(&target) {
        Ok(facts) => {
            if facts.permissions().readonly() {
                return Err("is write-protected; allow writing or leave it out".to_string());
            }
            temporary.as_file().set_permissions(facts.permissions()).map_err(cannot)?;
        }
        Err(_) => readable(temporary.as_file()),
    }
    if must_be_new {
        temporary.persist_noclobber(&target).map_err(|e| cannot(e.error))?;
    } else {
        temporary.persist(&target).map_err(|e| cannot(e.error))?;
    }
    sync_folder(&target);
    Ok(())
}

/// Temporary files are private; a sidecar is for others to read.
#[cfg(unix)]
fn readable(file: &File) {
    use std::os::unix::fs::PermissionsExt;
    let _ = file.set_permissions(fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
fn readable(_file: &File) {}

/// Makes a new name last; not every system can, and the content is safe without.
fn sync_folder(path: &Path) {
    if let Some(folder) = path.parent().filter(|p| !p.as_os_str().is_empty())
        && let Ok(folder) = File::open(folder)
    {
        let _ = folder.sync_all();
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_file_is_never_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let (a, b) = (folder.path().join("a"), folder.path().join("b"));
        fs::write(&a, b"raw").unwrap();
        fs::write(&b, b"other").unwrap();
        assert!(copy(&a, &b).unwrap_err().contains("exists already"));
        assert!(relocate(&a, &b).unwrap_err().contains("exists already"));
        assert_eq!((fs::read(&a).unwrap(), fs::read(&b).unwrap()), (b"raw".to_vec(), b"other".to_vec()));
    }

    #[test]
    fn copies_keep_content_and_time_and_moves_leave_one_file() {
        let folder = tempfile::tempdir().unwrap();
        let (a, b, c) = (folder.path().join("a"), folder.path().join("b"), folder.path().join("c"));
        let content: Vec<u8> = (0..3_000_000_u32).map(|i| (i % 251) as u8).collect();
        fs::write(&a, &content).unwrap();
        let old = std::time::SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(1_000_000_000);
        File::options().write(true).open(&a).unwrap().set_modified(old).unwrap();
        copy(&a, &b).unwrap();
        assert_eq!(fs::metadata(&b).unwrap().modified().unwrap(), old);
        relocate(&b, &c).unwrap();
        assert!(!b.exists());
        assert_eq!(fs::read(&c).unwrap(), content);
        assert_eq!(fs::metadata(&c).unwrap().modified().unwrap(), old);
    }

    #[test]
    fn a_copy_that_fails_leaves_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        let nowhere = folder.path().join("no-such-folder/b");
        let a = folder.path().join("a");
        fs::write(&a, b"raw").unwrap();
        assert!(copy(&a, &nowhere).is_err());
        assert!(copy(folder.path(), &folder.path().join("c")).is_err());
        assert!(!folder.path().join("c").exists());
    }
}
