//! `rawassay demo`.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};
use rawassay_report::Format;
use rawassay_scene::{Take, shoot, write_shoot};

use crate::commands::audit::Request;
use crate::commands::shared;
use crate::messages::{Exit, Failure};
use crate::output::{OutputPlan, plain_cause};
use crate::target::Target;
use crate::{pages, tables};

/// Says what the folder is, for people and for the next run.
const MARK: &str = "SIMULATED.txt";
const MARK_HEAD: &str = "These frames are simulated by `rawassay demo`; no camera took them.";

/// Make a small simulated shoot as DNG files, audit it and write its pages
///
/// The shoot is simulated: an invented morning at an invented harbour with four invented cameras and the flaws a
/// photographer meets. Frames that are there are left as they are; scorecards and pages of an earlier run are written
/// anew, and no file of others is overwritten.
#[derive(clap::Args)]
pub struct Demo {
    /// Folder for the shoot, its scorecards and its pages
    #[arg(value_name = "FOLDER", default_value = "demo-shoot")]
    folder: PathBuf,
    #[command(flatten)]
    brief: shared::BriefArgument,
}

impl Demo {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let brief = self.brief.find()?;
        let folder = self.folder.as_path();
        let fail = |e: io::Error| {
            Failure::nothing(format!("{}: cannot write the demo shoot ({})", folder.display(), plain_cause(&e)))
        };
        check_folder(folder)?;
        let none: [&Path; 0] = [];
        let cards = Target::check("scorecards", &folder.join("scorecards.csv"), false, &none)?;
        let takes = shoot();
        fs::create_dir_all(folder).map_err(fail)?;
        fs::write(folder.join(MARK), mark(&takes)).map_err(fail)?;
        tables::print(&format!(
            "A simulated shoot, no camera took it: a morning at the invented harbour of Vellmouth, in {}\n",
            folder.display()
        ))?;
        simulate(&takes, folder).map_err(fail)?;
        let record = folder.join("scorecards.record.ndjson");
        let request = Request {
            paths: vec![folder.to_path_buf()],
            brief: brief.clone(),
            crop: None,
            frame: Vec::new(),
            output: OutputPlan { cards: Some((Format::Csv, Some(cards))), table: true },
            record: record.clone(),
            also: None,
            jobs: None,
            timeout: None,
            memory: None,
            quiet: false,
            verbose: false,
        };
        request.run()?;
        let records = rawassay_report::record::read(&record).map_err(|e| Failure::nothing(e.to_string()))?;
        let out = folder.join("pages");
        let bar = bar(records.len(), "drawing {pos} of {len} [{wide_bar}] {eta} left");
        let request = pages::Request {
            record: &record,
            out: &out,
            brief: &brief,
            crop: None,
            jobs: None,
            timeout: None,
            memory: None,
        };
        let written = pages::write(&request, records, &|done| bar.set_position(done as u64))?;
        bar.finish_and_clear();
        tables::print(&format!(
            "\nscorecards  {}\nwhat was simulated  {}\npages  open {} in a browser\n",
            folder.join("scorecards.csv").display(),
            folder.join(MARK).display(),
            written.index.display()
        ))?;
        // The shoot holds a file that was cut short on purpose: that it has its row is what the demo shows.
        Ok(Exit::Done)
    }
}

/// Refuses a folder that has something in it and is not a demo's.
fn check_folder(folder: &Path) -> Result<(), Failure> {
    let foreign = || {
        Failure::usage(format!("{}: is not empty and no demo shoot; name a new folder for the demo", folder.display()))
    };
    if !folder.exists() {
        return Ok(());
    }
    let mut entries = fs::read_dir(folder).map_err(|_| {
        Failure::usage(format!("{}: is no folder that can be read; name a new one for the demo", folder.display()))
    })?;
    let marked = fs::read_to_string(folder.join(MARK)).is_ok_and(|text| text.starts_with(MARK_HEAD));
    if marked || entries.next().is_none() { Ok(()) } else { Err(foreign()) }
}

fn mark(takes: &[Take]) -> String {
    let mut text = format!("{MARK_HEAD}\nPlace, makers and models are invented. What was done to each frame:\n\n");
    for take in takes {
        text += &format!("{}  {}\n", take.name, take.story);
    }
    text
}

/// Makes the frames that are not there yet. Each is written aside and put in its place whole.
fn simulate(takes: &[Take], folder: &Path) -> io::Result<()> {
    let missing: Vec<Take> = takes.iter().filter(|take| !folder.join(&take.name).exists()).cloned().collect();
    if missing.is_empty() {
        return Ok(());
    }
    let aside = tempfile::Builder::new().prefix(".making-").tempdir_in(folder)?;
    let bar = bar(missing.len(), "simulating {pos} of {len} [{wide_bar}] {eta} left");
    let (report, problems) = std::sync::mpsc::channel();
    write_shoot(&missing, aside.path(), |take, path, _| {
        if let Err(problem) = fs::rename(path, folder.join(&take.name)) {
            report.send(problem).ok();
        }
        bar.inc(1);
    })?;
    bar.finish_and_clear();
    drop(report);
    problems.into_iter().next().map_or(Ok(()), Err)
}

fn bar(length: usize, template: &str) -> ProgressBar {
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(length as u64).with_style(style.progress_chars("=> "))
}
