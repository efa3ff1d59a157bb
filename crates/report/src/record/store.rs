//! Writing a record: lines are only ever added, and what was added is on the disk soon after.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{BufReader, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use super::stream::read_line;
use super::{Entry, Record, RecordIndex};
use crate::error::ReportError;
use crate::numbers::write_json_line;

/// Lines after which the record is forced to the disk: what a power cut can lose.
const SYNC_LINES: usize = 64;
/// Time after which it is forced to the disk all the same.
const SYNC_TIME: Duration = Duration::from_secs(2);

/// A record opened for one run. No other run can open it until it is dropped.
#[derive(Debug)]
pub struct RecordStore {
    path: PathBuf,
    file: File,
    index: RecordIndex,
    bytes: u64,
    unsynced: usize,
    synced_at: Instant,
    line: Vec<u8>,
}

impl RecordStore {
    /// Opens or creates a record, keeps other runs off it and drops a torn last line.
    ///
    /// # Errors
    /// Where the file cannot be opened or created, another run holds it, or it is no record (it is then left as it
    /// is).
    pub fn open(path: &Path) -> Result<Self, ReportError> {
        let io = |source| ReportError::Io { path: path.to_path_buf(), source };
        if path.exists() && !path.is_file() {
            return Err(ReportError::NotARecord { path: path.to_path_buf(), what: "this is no ordinary file" });
        }
        let mut file = OpenOptions::new().read(true).append(true).create(true).open(path).map_err(io)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(ReportError::Locked { path: path.to_path_buf() }),
            // A file system without locks: one run at a time is then up to the user.
            Err(TryLockError::Error(source)) if source.kind() == std::io::ErrorKind::Unsupported => {}
            Err(TryLockError::Error(source)) => return Err(io(source)),
        }
        file.seek(SeekFrom::Start(0)).map_err(io)?;
        let index = RecordIndex::read(path, BufReader::with_capacity(1 << 18, &file))?;
        let mut bytes = index.whole_bytes;
        if file.metadata().map_err(io)?.len() > bytes {
            file.set_len(bytes).map_err(io)?;
        }
        if index.lacks_line_feed {
            file.write_all(b"\n").map_err(io)?;
            bytes += 1;
        }
        let path = path.to_path_buf();
        Ok(Self { path, file, index, bytes, unsynced: 0, synced_at: Instant::now(), line: Vec::new() })
    }

    /// What is in it.
    #[must_use]
    pub fn index(&self) -> &RecordIndex {
        &self.index
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Adds the line of a frame.
    ///
    /// # Errors
    /// Where it cannot be written (a full disk): the record then ends with the line before.
    pub fn append(&mut self, record: &Record) -> Result<(), ReportError> {
        self.line.clear();
        write_json_line(&mut self.line, record)?;
        self.line.push(b'\n');
        if let Err(source) = self.file.write_all(&self.line) {
            // What stands of the line is dropped here, or by the next run where even that fails.
            self.file.set_len(self.bytes).ok();
            return Err(ReportError::Io { path: self.path.clone(), source });
        }
        self.index.lines += 1;
        let entry = Entry {
            file: record.file.clone(),
            key: record.key().into(),
            file_id: record.file_id.clone(),
            status: record.status,
            measures_version: record.measures_version,
            offset: self.bytes,
            length: self.line.len() - 1,
            line: self.index.lines,
        };
        self.bytes += self.line.len() as u64;
        self.index.put(entry, record.moved_from.as_deref());
        self.unsynced += 1;
        if self.unsynced >= SYNC_LINES || self.synced_at.elapsed() >= SYNC_TIME {
            self.sync()?;
        }
        Ok(())
    }

    /// Forces all lines to the disk.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn sync(&mut self) -> Result<(), ReportError> {
        if self.unsynced > 0 {
            self.file.sync_data().map_err(|source| ReportError::Io { path: self.path.clone(), source })?;
            self.unsynced = 0;
            self.synced_at = Instant::now();
        }
        Ok(())
    }

    /// The frame with this key, as it stands in the record; `None` where there is none.
    ///
    /// # Errors
    /// Where its line cannot be read.
    pub fn get(&self, key: &str) -> Result<Option<Record>, ReportError> {
        let mut line = Vec::new();
        self.index.by_key(key).map(|entry| read_line(&self.path, &self.file, entry.into(), &mut line)).transpose()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use std::fs;

    use super::*;
    use crate::record::{read, stream};
    use crate::samples;

    fn record(name: &str, hash: &str) -> Record {
        let mut record = samples::record();
        record.set_path(Path::new(name));
        record.file_id.hash = hash.into();
        record
    }

    #[test]
    fn lines_come_back_in_name_order_each_frame_once() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("r.ndjson");
        let mut store = RecordStore::open(&path).unwrap();
        for (name, hash) in [("/s/b.dng", "1"), ("/s/a.dng", "2"), ("/s/b.dng", "3")] {
            store.append(&record(name, hash)).unwrap();
        }
        assert_eq!(store.index().len(), 2);
        assert_eq!(store.get("file:///s/b.dng").unwrap().unwrap().file_id.hash, "3");
        assert!(store.index().by_hash("1").is_none(), "that content is gone");
        drop(store);
        let back = read(&path).unwrap();
        assert_eq!(back.iter().map(|r| r.file.as_str()).collect::<Vec<_>>(), ["/s/a.dng", "/s/b.dng"]);
        assert_eq!(back[1], record("/s/b.dng", "3"));
    }

    #[test]
    fn a_moved_file_counts_once() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("r.ndjson");
        let mut store = RecordStore::open(&path).unwrap();
        store.append(&record("/s/a.dng", "1")).unwrap();
        let mut moved = record("/t/a.dng", "1");
        moved.moved_from = Some("file:///s/a.dng".into());
        store.append(&moved).unwrap();
        assert_eq!(store.index().by_hash("1").unwrap().file, "/t/a.dng");
        // Another file takes the old place.
        store.append(&record("/s/a.dng", "2")).unwrap();
        drop(store);
        let back = read(&path).unwrap();
        assert_eq!(back.iter().map(|r| r.file.as_str()).collect::<Vec<_>>(), ["/s/a.dng", "/t/a.dng"]);
    }

    #[test]
    fn a_torn_last_line_is_dropped_and_the_rest_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("r.ndjson");
        let mut store = RecordStore::open(&path).unwrap();
        store.append(&record("/s/a.dng", "1")).unwrap();
        let whole = fs::read(&path).unwrap();
        store.append(&record("/s/b.dng", "2")).unwrap();
        drop(store);
        let both = fs::read(&path).unwrap();
        for cut in [whole.len() + 1, whole.len() + 9, both.len() - 2] {
            fs::write(&path, &both[..cut]).unwrap();
            assert_eq!(stream(&path).unwrap().len(), 1);
            let mut store = RecordStore::open(&path).unwrap();
            assert_eq!(fs::read(&path).unwrap(), whole);
            store.append(&record("/s/c.dng", "3")).unwrap();
            drop(store);
            assert_eq!(read(&path).unwrap().len(), 2);
        }
        // Only the line feed is missing: the line counts.
        fs::write(&path, &both[..both.len() - 1]).unwrap();
        drop(RecordStore::open(&path).unwrap());
        assert_eq!(fs::read(&path).unwrap(), both);
        // The very first line was torn.
        fs::write(&path, &whole[..20]).unwrap();
        assert_eq!(RecordStore::open(&path).unwrap().index().len(), 0);
    }

    #[test]
    fn foreign_files_are_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("r.ndjson");
        let foreign: [&[u8]; 4] = [b"file,outcome\r\na,prints\r\n", b"\xff\xd8\xff\xe0", b"{\"a\":1}\n", b"[1,2,3]"];
        for bytes in foreign {
            fs::write(&path, bytes).unwrap();
            assert!(matches!(RecordStore::open(&path), Err(ReportError::NotARecord { .. })));
            assert_eq!(fs::read(&path).unwrap(), bytes);
        }
        fs::write(&path, b"{\"schema\":1,\"file\":\"a\"}\n").unwrap();
        assert!(RecordStore::open(&path).unwrap_err().to_string().contains("scorecards"));
        fs::write(&path, b"{\"record\":99,\"x\":1}\n").unwrap();
        assert!(matches!(RecordStore::open(&path), Err(ReportError::Newer { found: 99, .. })));
        assert!(matches!(RecordStore::open(folder.path()), Err(ReportError::NotARecord { .. })));
    }

    #[test]
    fn a_broken_line_inside_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("r.ndjson");
        let mut store = RecordStore::open(&path).unwrap();
        store.append(&record("/s/a.dng", "1")).unwrap();
        drop(store);
        let line = fs::read(&path).unwrap();
        let text = [&line[..], b"{\"record\":1,\"broken\n", &line[..]].concat();
        fs::write(&path, text).unwrap();
        assert!(stream(&path).unwrap_err().to_string().contains("line 2"));
    }

    /// What the fuzz target found: such a line could be read, but not written again.
    #[test]
    fn a_number_that_is_too_large_is_refused() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/broken/infinite_share.ndjson");
        let error = read(&path).unwrap_err().to_string();
        assert_eq!(error.lines().count(), 1, "{error}");
        let text = fs::read_to_string(&path).unwrap();
        assert!(serde_json::from_str::<Record>(&text).is_err());
        let sound = serde_json::from_str::<Record>(&text.replace("1e60", "1e6"));
        assert_eq!(sound.unwrap().measures.unwrap().clipping.floor_pct, [1e6]);
    }

    #[test]
    fn one_run_at_a_time() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("r.ndjson");
        let first = RecordStore::open(&path).unwrap();
        assert!(matches!(RecordStore::open(&path), Err(ReportError::Locked { .. })));
        assert_eq!(stream(&path).unwrap().len(), 0, "reading is free");
        drop(first);
        assert!(RecordStore::open(&path).is_ok());
    }
}
