//! `rawassay judge`.

use std::path::PathBuf;

use rawassay_analysis::crop::Crop;
use rawassay_analysis::{Outcome, judge};
use rawassay_report::{Scorecard, Totals};

use super::shared;
use crate::messages::{Exit, Failure};
use crate::output::OutputArguments;

/// Judge again from the record, without reading a raw file
#[derive(clap::Args)]
pub struct Judge {
    /// Records that `audit` kept (NDJSON); of a frame that stands in several the last counts
    #[arg(value_name = "RECORD", required = true)]
    records: Vec<PathBuf>,
    #[command(flatten)]
    brief: shared::BriefArgument,
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
    output: OutputArguments,
}

impl Judge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let brief = self.brief.find()?;
        let plan = self.output.plan_here(&crate::answer::inputs(&self.records, &self.brief.text))?;
        let records = crate::frames::with_frames(&self.records)?;
        // Nothing is written before one frame is judged: a wrong name or crop must leave no half of an array behind.
        let (mut outputs, mut waiting) = (None, Vec::new());
        let mut totals = Totals { brief: brief.name.clone(), ..Totals::default() };
        let mut outside: Option<String> = None;
        let mut outside_frames = 0;
        for record in records.into_iter().flatten() {
            let record = record.map_err(|e| Failure::nothing(e.to_string()))?;
            if !shared::wanted(&record.file, &self.frame) {
                continue;
            }
            let crop = self.crop.and_then(|crop| crop.of(record.shot.as_ref()));
            let judgement = judge::judge(&record.subject(), &brief, crop);
            let misses = shared::outside(&record.file, self.crop, record.shot.as_ref());
            let fits = misses.is_none() && (self.crop.is_none() || record.shot.is_some());
            if let Some(why) = misses {
                outside_frames += 1;
                outside.get_or_insert(why);
            }
            let card = Scorecard::new(&record, &judgement);
            totals.add(&card);
            waiting.push(card);
            if fits && outputs.is_none() {
                outputs = Some(plan.open(&brief)?);
            }
            if let Some(outputs) = &mut outputs {
                waiting.drain(..).try_for_each(|card| outputs.card(&card))?;
            }
        }
        if totals.frames() == 0 {
            return Err(shared::no_such_frame(&self.frame));
        }
        let mut outputs = match (outputs, outside.take()) {
            // Where the crop fits no frame there is nothing to judge.
            (None, Some(why)) => return Err(Failure::usage(why)),
            (None, None) => plan.open(&brief)?,
            (Some(outputs), None) => outputs,
            (Some(outputs), Some(why)) => {
                let of = totals.frames();
                crate::messages::warning(&format!("{why}; {}", shared::unmeasured(outside_frames, of)));
                outputs
            }
        };
        waiting.iter().try_for_each(|card| outputs.card(card))?;
        outputs.finish(&totals)?;
        Ok(if self.strict.is_some_and(|strict| totals.worst.is_some_and(|worst| worst >= strict)) {
            Exit::Strict
        } else if totals.unreadable + totals.damaged + outside_frames > 0 {
            Exit::SomeUnmeasured
        } else {
            Exit::Done
        })
    }
}
