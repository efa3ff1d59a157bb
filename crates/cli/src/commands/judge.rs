//! `rawassay judge`.

use std::path::PathBuf;

use rawassay_analysis::{Outcome, judge};
use rawassay_decode::Area;
use rawassay_report::{Scorecard, Totals, record};

use super::shared;
use crate::messages::{Exit, Failure};
use crate::output::OutputArguments;

/// Judge again from the record, without reading a raw file
#[derive(clap::Args)]
pub struct Judge {
    /// The record that `audit` kept (NDJSON)
    #[arg(value_name = "RECORD", required = true)]
    records: Vec<PathBuf>,
    /// What the picture is for: screen, album, portfolio, exhibition, or a TOML file
    #[arg(long, default_value = "portfolio")]
    brief: String,
    /// Judge this part only: columns x rows + first column + first row of the frame as stored, before it is turned
    /// upright
    #[arg(long, value_name = "WxH+X+Y", value_parser = shared::crop)]
    crop: Option<Area>,
    /// Exit with 4 where a frame has this outcome or worse (worst: unmeasured)
    #[arg(long, value_name = "OUTCOME", value_parser = shared::outcome)]
    strict: Option<Outcome>,
    #[command(flatten)]
    output: OutputArguments,
}

impl Judge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let brief = super::brief::find(&self.brief)?;
        let plan = self.output.plan_here(&crate::answer::inputs(&self.records, &self.brief))?;
        let open = |path: &PathBuf| record::stream(path).map_err(|e| Failure::nothing(e.to_string()));
        // All records are opened before a word is written: a wrong name must leave nothing half said.
        let records = self.records.iter().map(open).collect::<Result<Vec<_>, _>>()?;
        let mut outputs = plan.open()?;
        let mut totals = Totals { brief: brief.name.clone(), ..Totals::default() };
        let mut outside = 0;
        for records in records {
            for record in records {
                let record = record.map_err(|e| Failure::nothing(e.to_string()))?;
                let judgement = judge::judge(&record.subject(), &brief, self.crop);
                let size = record.shot.as_ref().map(|s| (s.width_px, s.height_px));
                if let (Some(crop), Some((w, h))) = (&self.crop, size) {
                    outside += usize::from(!rawassay_analysis::crop::inside(crop, w, h));
                }
                let card = Scorecard::new(&record, &judgement);
                totals.add(&card);
                outputs.card(&card)?;
            }
        }
        if let (Some(crop), true) = (&self.crop, outside > 0) {
            crate::messages::warning(&format!(
                "--crop {}: lies outside {outside} of {} frames; those are unmeasured",
                rawassay_analysis::crop::text(crop),
                totals.frames()
            ));
        }
        outputs.finish(&totals)?;
        Ok(if self.strict.is_some_and(|strict| totals.worst.is_some_and(|worst| worst >= strict)) {
            Exit::Strict
        } else if totals.frames() == 0 {
            Exit::Nothing
        } else if totals.unreadable > 0 {
            Exit::SomeUnmeasured
        } else {
            Exit::Done
        })
    }
}
