//! `rawassay audit`.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::Duration;

use rawassay_analysis::crop::Crop;
use rawassay_analysis::judge::judge;
use rawassay_analysis::{Brief, MEASURES_VERSION, Outcome};
use rawassay_report::table::printable;
use rawassay_report::{Record, RecordStore, ReportError, Scorecard, Status, Totals};

use super::shared;
use crate::messages::{self, Exit, Failure};
use crate::output::{OutputArguments, OutputPlan, plain_cause};
use crate::progress::Progress;
use crate::runner::{self, Job, Limits};
use crate::walk::{Found, Walk, missing};
use crate::{identity, runner::interrupted, target};

/// What `--verbose` says of a frame that was not measured again.
const KNOWN: &str = "known from the record";

/// What `--verbose` says of a frame whose content this run has measured already.
const COPY: &str = "a copy of a file that was measured just now";

/// Files that were not measured because their content is known.
#[derive(Clone, Copy, Default)]
struct Spared {
    from_record: usize,
    copies: usize,
}

/// Record where neither --record nor --out is given.
const DEFAULT_RECORD: &str = "rawassay.ndjson";

/// Measure every raw file below the paths and judge each by the brief
///
/// Writes a scorecard per frame. What was measured is kept in a record: the next audit of the same files measures only
/// what is new or changed, and judge, series, sets, enlarge, cull and page read it. Raw files are only ever read.
#[derive(clap::Args)]
pub struct Audit {
    /// Files and folders to audit; `-` reads a list from stdin, one path per line (or as `find -print0` writes them)
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    #[command(flatten)]
    brief: shared::BriefArgument,
    #[command(flatten)]
    output: OutputArguments,
    /// File that keeps what was measured [default: beside --out, else rawassay.ndjson here]
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// Judge this part only: WxH+X+Y in pixels as stored (upright:WxH+X+Y: of the upright picture), 4:3 or 50% of each
    /// side in the middle
    #[arg(long, value_name = "CROP", value_parser = shared::crop)]
    crop: Option<Crop>,
    /// Only frames whose file name holds this text; may be given again
    #[arg(long, value_name = "TEXT")]
    frame: Vec<String>,
    /// Exit with status 4 where a frame has this outcome or a worse one (worst: unmeasured)
    #[arg(long, value_name = "OUTCOME", value_parser = shared::outcome)]
    strict: Option<Outcome>,
    #[command(flatten)]
    workers: shared::WorkerArguments,
    /// No progress and no summary on stderr
    #[arg(long, short, conflicts_with = "verbose")]
    quiet: bool,
    /// A line on stderr for each frame
    #[arg(long, short)]
    verbose: bool,
}

/// An audit that is asked for.
pub struct Request {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// What for.
    pub brief: Brief,
    /// The part that is judged.
    pub crop: Option<Crop>,
    /// Texts of which a file's name must hold one; none for all files.
    pub frame: Vec<String>,
    /// Where scorecards go.
    pub output: OutputPlan,
    /// The record.
    pub record: PathBuf,
    /// Another record whose measures are taken over.
    pub also: Option<PathBuf>,
    /// Workers, where asked.
    pub jobs: Option<usize>,
    /// Time for a frame, where asked.
    pub timeout: Option<Duration>,
    /// Memory of a worker, bytes, where asked.
    pub memory: Option<u64>,
    /// No talk.
    pub quiet: bool,
    /// A line for each frame.
    pub verbose: bool,
}

impl Audit {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        // What a plain audit in this folder measured is known, though the record now stands beside --out.
        let also =
            Some(PathBuf::from(DEFAULT_RECORD)).filter(|_| self.record.is_none() && self.output.file.out.is_some());
        let record = self.record.unwrap_or_else(|| match &self.output.file.out {
            Some(out) => out.with_extension("record.ndjson"),
            None => PathBuf::from(DEFAULT_RECORD),
        });
        let brief = self.brief.find()?;
        let mut inputs = crate::answer::inputs(&self.paths, &self.brief.text);
        target::check_growing("--record", &record, false, &inputs)?;
        inputs.push(record.clone());
        let request = Request {
            brief,
            output: self.output.plan_here(&inputs)?,
            paths: self.paths,
            crop: self.crop,
            frame: self.frame,
            also: also.filter(|also| *also != record),
            record,
            jobs: self.workers.jobs(),
            timeout: self.workers.timeout,
            memory: self.workers.memory_bytes(),
            quiet: self.quiet,
            verbose: self.verbose,
        };
        let (totals, exit) = request.run()?;
        if request.output.table && !request.quiet {
            let record = printable(&request.record.display().to_string());
            messages::say(&format!(
                "record: {record}; to look instead of reading: rawassay page {record} --out pages; what a word means: rawassay explain WORD"
            ));
        }
        let strict = self.strict.is_some_and(|limit| totals.worst.is_some_and(|worst| worst >= limit));
        Ok(if strict { Exit::Strict } else { exit })
    }
}

impl Request {
    /// Audits: finds the files, measures what the record does not know, judges and writes all.
    pub fn run(&self) -> Result<(Totals, Exit), Failure> {
        missing(&self.paths)?;
        let mut walk = Walk::of(&self.paths, &mut std::io::stdin().lock())
            .map_err(|e| Failure::nothing(format!("-: the list cannot be read ({})", plain_cause(&e))))?;
        for fault in &walk.faults {
            messages::warning(&printable(fault));
        }
        if walk.files.is_empty() {
            if self.paths.iter().all(|p| p.as_os_str() == "-") {
                return Err(Failure::nothing("-: the list on stdin names no file; give one path per line"));
            }
            let all: Vec<String> = self.paths.iter().map(|p| p.display().to_string()).collect();
            return Err(Failure::nothing(format!(
                "{}: no raw file there; name a folder that has some",
                all.join(", ")
            )));
        }
        walk.files.retain(|found| shared::wanted(&found.path.to_string_lossy(), &self.frame));
        if walk.files.is_empty() {
            return Err(shared::no_such_frame(&self.frame));
        }
        // Before hours of measuring: nothing that is audited is written over.
        let audited: Vec<&Path> = walk.files.iter().map(|f| f.path.as_path()).collect();
        target::check_growing("--record", &self.record, false, &audited)?;
        if let Some(target) = self.output.target() {
            target.check_against(&audited)?;
        }
        let mut store = RecordStore::open(&self.record).map_err(|e| self.record_failure(&e))?;
        if let Some(also) = &self.also {
            let adopted = crate::adopt::adopt(also, &walk.files, &mut store).map_err(|e| self.record_failure(&e))?;
            if adopted > 0 && !self.quiet {
                messages::say(&format!(
                    "measures of {adopted} frames taken over from {} into {}",
                    also.display(),
                    self.record.display()
                ));
            }
        }
        let store = Mutex::new(store);
        let (jobs, known) = unknown_files(&walk.files, &store);
        if self.verbose {
            let new: HashSet<usize> = jobs.iter().map(|job| job.number).collect();
            for (_, found) in walk.files.iter().enumerate().filter(|(number, _)| !new.contains(number)) {
                messages::say(&printable(&format!("{}: {KNOWN}", found.path.display())));
            }
        }
        let mut loose: HashMap<usize, Record> = HashMap::new();
        let mut spared = self.measure(&jobs, &store, &mut loose)?;
        spared.from_record += known;
        let mut store = store.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
        store.sync().map_err(|e| self.record_failure(&e))?;
        if interrupted() {
            let here = walk.files.iter().filter(|f| store.index().by_key(&f.key).is_some()).count();
            return Err(Failure::interrupted(format!(
                "stopped with {here} of {} frames in {}; run the same command again to go on from there",
                walk.files.len(),
                self.record.display()
            )));
        }
        let (totals, outside) = self.write(&walk.files, &store, &mut loose, spared)?;
        let missed = totals.unreadable + totals.damaged + outside > 0 || !walk.faults.is_empty();
        Ok((totals, if missed { Exit::SomeUnmeasured } else { Exit::Done }))
    }

    /// Measures what is new and puts it into the record; gives the number of files whose content was known after all.
    fn measure(
        &self,
        jobs: &[Job],
        store: &Mutex<RecordStore>,
        loose: &mut HashMap<usize, Record>,
    ) -> Result<Spared, Failure> {
        if jobs.is_empty() {
            return Ok(Spared::default());
        }
        let limits = Limits::new(jobs.len(), self.jobs, self.timeout, self.memory);
        let progress = Progress::new(jobs.len(), self.quiet, self.verbose);
        let paths: HashMap<usize, &Path> = jobs.iter().map(|job| (job.number, job.path.as_path())).collect();
        let mut spared = Spared::default();
        let mut fresh = HashSet::new();
        let outcome = runner::run(jobs, &limits, store, |outcome| {
            let copy = outcome.known && fresh.contains(&outcome.record.file_id.hash);
            spared.copies += usize::from(copy);
            spared.from_record += usize::from(outcome.known && !copy);
            if !outcome.known {
                fresh.insert(outcome.record.file_id.hash.clone());
            }
            let what = match (&outcome.record.status, &outcome.record.error) {
                (Status::Measured, _) if copy => COPY,
                (Status::Measured, _) if outcome.known => KNOWN,
                (Status::Measured, _) => "measured",
                (_, error) => error.as_deref().unwrap_or("unreadable"),
            };
            progress.frame(paths.get(&outcome.number).copied().unwrap_or(Path::new("")), what);
            let mut store = store.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            // A file that cannot be read now does not wipe out what was measured of it.
            let unread = outcome.record.file_id.hash.is_empty();
            let keeps = outcome.keep && !(unread && store.index().by_key(outcome.record.key()).is_some());
            if keeps {
                store.append(&outcome.record).map_err(|e| self.record_failure(&e))?;
            }
            if unread {
                loose.insert(outcome.number, outcome.record);
            }
            Ok(())
        });
        progress.end();
        if outcome.is_err() {
            // What was measured before stays.
            store.lock().unwrap_or_else(std::sync::PoisonError::into_inner).sync().ok();
        }
        outcome.map(|()| spared)
    }

    /// Judges every frame and writes the scorecards, in the order of the walk; tells how many frames the crop misses.
    fn write(
        &self,
        files: &[Found],
        store: &RecordStore,
        loose: &mut HashMap<usize, Record>,
        spared: Spared,
    ) -> Result<(Totals, usize), Failure> {
        let mut outputs = self.output.open(&self.brief)?;
        let mut totals = Totals {
            from_record: Some(spared.from_record),
            copies: spared.copies,
            brief: self.brief.name.clone(),
            ..Totals::default()
        };
        let mut outside = Vec::new();
        for (number, found) in files.iter().enumerate() {
            let record = match loose.remove(&number) {
                Some(record) => Some(record),
                None => store.get(&found.key).map_err(|e| Failure::nothing(e.to_string()))?,
            };
            let Some(mut record) = record else { continue };
            record.set_path(&found.path);
            let crop = self.crop.and_then(|crop| crop.of(record.shot.as_ref()));
            outside.extend(shared::outside(&record.file, self.crop, record.shot.as_ref()));
            let card = Scorecard::new(&record, &judge(&record.subject(), &self.brief, crop));
            totals.add(&card);
            outputs.card(&card)?;
        }
        outputs.finish(&totals)?;
        if let Some(why) = outside.first() {
            messages::warning(&format!("{why}; {}", shared::unmeasured(outside.len(), totals.frames())));
        }
        if !self.quiet && !self.output.table {
            messages::say(&totals.summary());
        }
        Ok((totals, outside.len()))
    }

    fn record_failure(&self, error: &ReportError) -> Failure {
        match error {
            ReportError::Io { path, source } => {
                let kept = if path.exists() { "; what was measured so far is kept" } else { "" };
                Failure::nothing(format!(
                    "cannot write the record {}: {} (or name another with --record){kept}",
                    path.display(),
                    plain_cause(source)
                ))
            }
            ReportError::NotARecord { path, what } => Failure::nothing(format!(
                "{}: {what}; move it away, or name another record with --record",
                path.display()
            )),
            other => Failure::nothing(other.to_string()),
        }
    }
}

/// The files that must be looked at, and the number of those that the record knows by place, size and time.
fn unknown_files(files: &[Found], store: &Mutex<RecordStore>) -> (Vec<Job>, usize) {
    let store = store.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let twins = identity::twins(store.index().iter().map(|entry| &entry.file_id));
    let unchanged = |found: &Found| {
        let Some(entry) = store.index().by_key(&found.key) else { return false };
        entry.measures_version == MEASURES_VERSION
            && !entry.file_id.hash.is_empty()
            && entry.file_id.mtime.is_some()
            && !twins.contains(&identity::look(&entry.file_id))
            && std::fs::metadata(&found.path).is_ok_and(|metadata| {
                let now = identity::quick(&metadata);
                metadata.is_file() && now.size == entry.file_id.size && now.mtime == entry.file_id.mtime
            })
    };
    let job = |(number, found): (usize, &Found)| Job { number, path: found.path.clone(), key: found.key.clone() };
    let jobs: Vec<Job> = files.iter().enumerate().filter(|(_, found)| !unchanged(found)).map(job).collect();
    let known = files.len() - jobs.len();
    (jobs, known)
}
