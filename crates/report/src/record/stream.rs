//! Reading a record: one frame at a time, with memory for names and places only.

use std::collections::HashSet;
use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rawassay_analysis::MEASURES_VERSION;

use super::{Entry, Record, RecordIndex, name_order};
use crate::error::ReportError;

/// The frames of a record, each once, in name order. Made by [`stream`] and [`streams`].
#[derive(Debug)]
pub struct Records {
    path: PathBuf,
    file: File,
    places: std::vec::IntoIter<Place>,
    line: Vec<u8>,
}

/// Where a line stands: what is left of an entry once the names have put it in order.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    offset: u64,
    length: usize,
    line: usize,
    measures_version: u32,
}

impl From<&Entry> for Place {
    fn from(entry: &Entry) -> Self {
        let Entry { offset, length, line, measures_version, .. } = *entry;
        Self { offset, length, line, measures_version }
    }
}

/// Opens a record for reading frame by frame: the last line of each file wins, files that moved count once, and the
/// order is that of the names. A torn last line is passed over.
///
/// Takes about 400 bytes for each frame until they are in order, and 32 from then on; the measures of one frame at a time.
///
/// # Errors
/// Where the file cannot be read or is no record. Iterating gives an error where a line does not parse.
pub fn stream(path: &Path) -> Result<Records, ReportError> {
    let (file, entries) = open(path)?;
    Ok(Records::new(path, file, entries))
}

/// Opens several records for reading one after the other: of a file that stands in more than one, the last counts, and the
/// others are read without it.
///
/// # Errors
/// As [`stream`]; all are opened before the first is read.
pub fn streams(paths: &[PathBuf]) -> Result<Vec<Records>, ReportError> {
    // Within one record each file comes once.
    if let [only] = paths {
        return Ok(vec![stream(only)?]);
    }
    let mut later: HashSet<Arc<str>> = HashSet::new();
    let mut records = Vec::with_capacity(paths.len());
    for path in paths.iter().rev() {
        let (file, mut entries) = open(path)?;
        entries.retain(|entry| !later.contains(&entry.key));
        later.extend(entries.iter().map(|entry| Arc::clone(&entry.key)));
        records.push(Records::new(path, file, entries));
    }
    records.reverse();
    Ok(records)
}

/// The file of a record and its frames.
fn open(path: &Path) -> Result<(File, Vec<Entry>), ReportError> {
    let io = |source| ReportError::Io { path: path.to_path_buf(), source };
    let file = match File::open(path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            return Err(ReportError::NotARecord { path: path.to_path_buf(), what: "there is no such file" });
        }
        opened => opened.map_err(io)?,
    };
    if file.metadata().map_err(io)?.is_dir() {
        return Err(ReportError::NotARecord { path: path.to_path_buf(), what: "this is a folder" });
    }
    let entries = RecordIndex::read(path, BufReader::with_capacity(1 << 18, &file))?.into_entries();
    Ok((file, entries))
}

/// Reads a whole record into memory: [`stream`], collected.
///
/// # Errors
/// As [`stream`].
pub fn read(path: &Path) -> Result<Vec<Record>, ReportError> {
    stream(path)?.collect()
}

impl Records {
    fn new(path: &Path, file: File, mut entries: Vec<Entry>) -> Self {
        entries.sort_by(|a, b| name_order(&a.file, &b.file).then_with(|| a.key.cmp(&b.key)));
        let places: Vec<Place> = entries.iter().map(Place::from).collect();
        Self { path: path.to_path_buf(), file, places: places.into_iter(), line: Vec::new() }
    }

    /// The record's own path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Frames still to come that another version of the measures measured.
    #[must_use]
    pub fn outdated(&self) -> usize {
        self.places.as_slice().iter().filter(|place| place.measures_version != MEASURES_VERSION).count()
    }
}

impl Iterator for Records {
    type Item = Result<Record, ReportError>;

    fn next(&mut self) -> Option<Self::Item> {
        let place = self.places.next()?;
        Some(read_line(&self.path, &self.file, place, &mut self.line))
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        self.places.size_hint()
    }
}

impl ExactSizeIterator for Records {}

/// Reads the record at one place.
pub(super) fn read_line(path: &Path, mut file: &File, place: Place, line: &mut Vec<u8>) -> Result<Record, ReportError> {
    let io = |source| ReportError::Io { path: path.to_path_buf(), source };
    line.resize(place.length, 0);
    file.seek(SeekFrom::Start(place.offset)).map_err(io)?;
    file.read_exact(line).map_err(io)?;
    serde_json::from_slice(line).map_err(|source| {
        let path = path.to_path_buf();
        if place.measures_version == MEASURES_VERSION {
            ReportError::Line { path, line: place.line, source }
        } else {
            ReportError::Outdated { path, line: place.line, found: place.measures_version, known: MEASURES_VERSION }
        }
    })
}
