//! `rawassay page`.

use std::path::PathBuf;
use std::time::Duration;

use rawassay_analysis::crop::Crop;

use super::shared;
use crate::messages::{Exit, Failure};
use crate::{pages, target};

/// Write web pages with pictures and plots
///
/// Makes a folder that opens in any browser without a network: an overview of the shoot with a filter and a list to
/// save, a page per frame with the picture, overlays, plots and findings, and an explanation of every word. Pictures
/// are drawn from the raw files where these still exist. A second run refreshes only what changed.
#[derive(clap::Args)]
pub struct Page {
    /// Record that `audit` wrote
    record: PathBuf,
    /// Folder to write, made where it is missing
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// Replace pages at --out though rawassay did not write them
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    brief: shared::BriefArgument,
    /// Judge this part only: WxH+X+Y in pixels as stored (upright:WxH+X+Y: of the upright picture), 4:3 or 50% of each
    /// side in the middle
    #[arg(long, value_name = "CROP", value_parser = super::shared::crop)]
    crop: Option<Crop>,
    /// Only frames whose file name holds this text; may be given again
    #[arg(long, value_name = "TEXT")]
    frame: Vec<String>,
    /// Frames decoded at once at the most [default: one per core, fewer where memory is short]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    jobs: Option<u16>,
    /// Give a picture up after this long [default: 60, and one more for each megabyte of its file]
    #[arg(long, value_name = "SECONDS", value_parser = super::audit::seconds)]
    timeout: Option<Duration>,
    /// Memory that one worker may take [default: 1024, and 16 for each megabyte of its file, as far as there is]
    #[arg(long, value_name = "MB", value_parser = clap::value_parser!(u64).range(64..=1_048_576))]
    memory: Option<u64>,
}

impl Page {
    /// Runs the command.
    #[allow(clippy::print_stdout, reason = "the answer of the command")]
    pub fn run(self) -> Result<Exit, Failure> {
        let brief = self.brief.find()?;
        let mut records = rawassay_report::record::read(&self.record).map_err(|e| match e {
            rawassay_report::ReportError::Io { .. } => {
                Failure::nothing(format!("{e}; give the record that `rawassay audit` keeps"))
            }
            other => Failure::nothing(other.to_string()),
        })?;
        if records.is_empty() {
            return Err(Failure::nothing(format!(
                "{}: holds no frame; run `rawassay audit` on a folder of raw files first",
                self.record.display()
            )));
        }
        let outdated = records.iter().filter(|r| r.measures_version != rawassay_analysis::MEASURES_VERSION).count();
        crate::frames::warn_of_outdated(&self.record, outdated, records.len());
        records.retain(|record| super::shared::wanted(&record.file, &self.frame));
        if records.is_empty() {
            return Err(super::shared::no_such_frame(&self.frame));
        }
        target::check_page_folder(&self.out, self.force)?;
        let bar = indicatif::ProgressBar::new(records.len() as u64).with_style(
            indicatif::ProgressStyle::with_template("drawing {pos} of {len} {wide_bar} {eta}")
                .unwrap_or_else(|_| indicatif::ProgressStyle::default_bar()),
        );
        let request = pages::Request {
            record: &self.record,
            out: &self.out,
            brief: &brief,
            crop: self.crop,
            jobs: self.jobs.map(usize::from),
            timeout: self.timeout,
            memory: self.memory.map(|mb| mb << 20),
        };
        let written = pages::write(&request, records, &|done| bar.set_position(done as u64))?;
        bar.finish_and_clear();
        println!(
            "{} {} by the brief {}, {} drawn now, {} files changed",
            written.frames,
            if written.frames == 1 { "frame" } else { "frames" },
            brief.name,
            written.drawn,
            written.changed
        );
        if written.without_picture > 0 {
            println!("{} without a picture: its page says why", written.without_picture);
        }
        println!("open {}", written.index.display());
        Ok(Exit::Done)
    }
}
