//! `rawassay page`.

use std::path::PathBuf;

use rawassay_analysis::crop::Crop;

use super::shared;
use crate::messages::{Exit, Failure};
use crate::{output, pages, target};

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
    #[arg(long, value_name = "CROP", value_parser = shared::crop)]
    crop: Option<Crop>,
    /// Only frames whose file name holds this text; may be given again
    #[arg(long, value_name = "TEXT")]
    frame: Vec<String>,
    #[command(flatten)]
    workers: shared::WorkerArguments,
}

impl Page {
    /// Runs the command.
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
        records.retain(|record| shared::wanted(&record.file, &self.frame));
        if records.is_empty() {
            return Err(shared::no_such_frame(&self.frame));
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
            jobs: self.workers.jobs(),
            timeout: self.workers.timeout,
            memory: self.workers.memory_bytes(),
        };
        let written = pages::write(&request, records, &|done| bar.set_position(done as u64))?;
        bar.finish_and_clear();
        let mut told = format!(
            "{} {} by the brief {}, {} drawn now, {} files changed\n",
            written.frames,
            if written.frames == 1 { "frame" } else { "frames" },
            brief.name,
            written.drawn,
            written.changed
        );
        if written.without_picture > 0 {
            told.push_str(&format!("{} without a picture: its page says why\n", written.without_picture));
        }
        told.push_str(&format!("open {}\n", written.index.display()));
        output::print(&told)?;
        Ok(Exit::Done)
    }
}
