//! Where each frame's line stands in a record, without the measures: small enough for an archive's record.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{BufRead, Read};
use std::path::Path;
use std::sync::Arc;

use serde::Deserialize;

use super::{FileId, RECORD_VERSION, Status};
use crate::error::ReportError;

/// No line of ours comes near this; a longer one is some other file.
const LONGEST_LINE: u64 = 64 << 20;

/// One frame's place in a record.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Path as given when it was measured.
    pub file: String,
    /// What names the frame within the record ([`super::Record::key`]).
    pub key: Arc<str>,
    /// Content identity.
    pub file_id: FileId,
    /// Status.
    pub status: Status,
    /// Version of the measures.
    pub measures_version: u32,
    /// First byte of its line.
    pub offset: u64,
    /// Bytes of its line, line feed left out.
    pub length: usize,
    /// Line number from 1.
    pub line: usize,
}

/// The frames of a record: one entry for each, its last line.
#[derive(Debug, Default)]
pub struct RecordIndex {
    entries: Vec<Entry>,
    by_key: HashMap<Arc<str>, usize>,
    /// By a short hash of the content's: what is found is held against the whole.
    by_hash: HashMap<u64, usize>,
    /// Bytes up to the end of the last whole line.
    pub(super) whole_bytes: u64,
    /// Lines so far.
    pub(super) lines: usize,
    /// True where the last whole line lacks its line feed.
    pub(super) lacks_line_feed: bool,
}

/// The part of a line that says which frame it is.
#[derive(Deserialize)]
struct Head {
    record: u32,
    measures_version: u32,
    file: String,
    #[serde(default)]
    uri: Option<String>,
    #[serde(default)]
    moved_from: Option<String>,
    file_id: FileId,
    status: Status,
}

/// Where the measures begin, the longest part of a line by far. No text can hold this: its quotes would be escaped.
const MEASURES: &[u8] = b",\"measures\":{";

impl Head {
    /// Of a line with its line feed only what stands before the measures is read: whoever asks for them reads the rest.
    fn of(text: &[u8], ends: bool) -> Result<Self, serde_json::Error> {
        let before = text.windows(MEASURES.len()).position(|w| w == MEASURES).filter(|_| ends && text.ends_with(b"}"));
        let short = before.map(|at| [&text[..at], b"}"].concat());
        match short.and_then(|short| serde_json::from_slice(&short).ok()) {
            Some(head) => Ok(head),
            None => serde_json::from_slice(text),
        }
    }
}

/// What a line that is no record can still tell.
#[derive(Deserialize)]
struct Kind {
    record: Option<u32>,
    schema: Option<u32>,
}

impl RecordIndex {
    /// Reads the heads of all lines; a torn last line is left out.
    ///
    /// # Errors
    /// Where reading fails, or the file is no record, or a newer program wrote it, or a line inside it is broken.
    pub fn read(path: &Path, mut input: impl BufRead) -> Result<Self, ReportError> {
        let io = |source| ReportError::Io { path: path.to_path_buf(), source };
        let mut index = Self::default();
        let mut line = Vec::new();
        let mut offset = 0u64;
        let mut torn: Option<(usize, serde_json::Error)> = None;
        loop {
            line.clear();
            let bytes = (&mut input).take(LONGEST_LINE).read_until(b'\n', &mut line).map_err(io)?;
            if bytes == 0 {
                break;
            }
            if let Some((number, source)) = torn.take() {
                return Err(ReportError::Line { path: path.to_path_buf(), line: number, source });
            }
            index.lines += 1;
            let ends = line.last() == Some(&b'\n');
            let text = if ends { &line[..line.len() - 1] } else { &line[..] };
            if text.iter().all(u8::is_ascii_whitespace) {
                offset += bytes as u64;
                if ends {
                    index.whole_bytes = offset;
                }
                continue;
            }
            match Head::of(text, ends) {
                Ok(head) if head.record <= RECORD_VERSION => {
                    index.insert(head, offset, text.len());
                    index.whole_bytes = offset + bytes as u64;
                    index.lacks_line_feed = !ends;
                }
                Ok(head) => return Err(newer(path, index.lines, head.record)),
                Err(source) => {
                    let kind = serde_json::from_slice::<Kind>(text).ok();
                    match kind {
                        Some(Kind { record: Some(found), .. }) if found > RECORD_VERSION => {
                            return Err(newer(path, index.lines, found));
                        }
                        Some(Kind { record: None, schema: Some(_) }) => {
                            return Err(not_a_record(path, "these are scorecards, not a record"));
                        }
                        _ if index.entries.is_empty() && !looks_like_ours(text) => {
                            return Err(not_a_record(path, "not a rawassay record"));
                        }
                        _ => torn = Some((index.lines, source)),
                    }
                }
            }
            offset += bytes as u64;
        }
        Ok(index)
    }

    fn insert(&mut self, head: Head, offset: u64, length: usize) {
        let key = head.uri.unwrap_or_else(|| head.file.clone()).into();
        let entry = Entry {
            file: head.file,
            key,
            file_id: head.file_id,
            status: head.status,
            measures_version: head.measures_version,
            offset,
            length,
            line: self.lines,
        };
        self.put(entry, head.moved_from.as_deref());
    }

    /// Adds the entry of a line that was just written.
    pub(super) fn put(&mut self, entry: Entry, moved_from: Option<&str>) {
        // The frame keeps its slot when it moves: order of first appearance, and no hole is left behind.
        let old = moved_from.and_then(|from| self.by_key.remove(from));
        let slot = self.by_key.get(&entry.key).copied();
        let at = match (slot, old) {
            (Some(slot), Some(old)) if slot != old => {
                self.entries[old].length = 0;
                slot
            }
            (Some(slot), _) => slot,
            (None, Some(old)) => old,
            (None, None) => {
                self.entries.push(entry.clone());
                self.entries.len() - 1
            }
        };
        if !entry.file_id.hash.is_empty() {
            self.by_hash.insert(short(&entry.file_id.hash), at);
        }
        self.by_key.insert(entry.key.clone(), at);
        self.entries[at] = entry;
    }

    /// The frame with this key.
    #[must_use]
    pub fn by_key(&self, key: &str) -> Option<&Entry> {
        self.by_key.get(key).and_then(|&at| self.entries.get(at))
    }

    /// A frame with this content.
    #[must_use]
    pub fn by_hash(&self, hash: &str) -> Option<&Entry> {
        self.by_hash
            .get(&short(hash))
            .and_then(|&at| self.entries.get(at))
            .filter(|e| e.length > 0 && e.file_id.hash == hash)
    }

    /// The frames, in the order in which they first appear.
    pub fn iter(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(|entry| entry.length > 0)
    }

    /// Frames.
    #[must_use]
    pub fn len(&self) -> usize {
        self.by_key.len()
    }

    /// True where the record holds no frame.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.by_key.is_empty()
    }

    pub(super) fn into_entries(self) -> Vec<Entry> {
        self.entries.into_iter().filter(|entry| entry.length > 0).collect()
    }
}

/// Eight bytes for sixty-four: an archive's record has many.
fn short(hash: &str) -> u64 {
    let mut hasher = DefaultHasher::new();
    hash.hash(&mut hasher);
    hasher.finish()
}

/// A line that we began to write and that was torn.
fn looks_like_ours(text: &[u8]) -> bool {
    const START: &[u8] = b"{\"record\":";
    text.starts_with(START) || START.starts_with(text)
}

fn newer(path: &Path, line: usize, found: u32) -> ReportError {
    ReportError::Newer { path: path.to_path_buf(), line, found, known: RECORD_VERSION }
}

fn not_a_record(path: &Path, what: &'static str) -> ReportError {
    ReportError::NotARecord { path: path.to_path_buf(), what }
}
