//! `rawassay enlarge`.

mod write;

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use rawassay_analysis::brief::length::Size;
use rawassay_analysis::crop::Crop;
use rawassay_analysis::enlarge::{self, Distance, PaperSize};
use rawassay_report::record::key_of_path;
use rawassay_report::{Record, Status};

use super::shared;
use crate::answer::{self, AnswerArguments, Form};
use crate::messages::{Exit, Failure};
use crate::output;
pub use write::COLUMNS;
use write::{Head, csv, json, table};

/// Show a ladder of print sizes: what each asks for and what the frame has
#[derive(clap::Args)]
pub struct Enlarge {
    /// Records that `audit` kept, or raw files (measured now)
    #[arg(value_name = "RECORD|FRAME", required = true)]
    inputs: Vec<PathBuf>,
    #[command(flatten)]
    brief: shared::BriefArgument,
    /// This part of the frame only: WxH+X+Y in pixels as stored (upright:WxH+X+Y: of the upright picture), 4:3 or 50% of each
    /// side in the middle
    #[arg(long, value_name = "CROP", value_parser = shared::crop)]
    crop: Option<Crop>,
    /// Picture pixels per inch that are wanted, in place of the brief's
    #[arg(long, value_name = "N", value_parser = shared::ppi)]
    ppi: Option<f64>,
    /// Viewing distance for every size, in place of the brief's: a length such as 60cm, or `diagonal` for that of
    /// each print
    #[arg(long, value_name = "LENGTH|diagonal", value_parser = shared::distance)]
    distance: Option<Distance>,
    /// A size to show besides the usual ones, such as "60 x 90 cm" or A2 (for a screen "3000 x 2000 px"); may be given again
    #[arg(long, value_name = "SIZE", value_parser = shared::size)]
    size: Vec<(String, Size)>,
    /// Of a record, only frames whose file name holds this text; may be given again
    #[arg(long, value_name = "TEXT")]
    frame: Vec<String>,
    #[command(flatten)]
    answer: AnswerArguments,
}

impl Enlarge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let brief = self.brief.find()?;
        let plan = self.answer.plan(&answer::inputs(&self.inputs, &self.brief.text))?;
        let mut sizes = enlarge::usual_of(&brief.output);
        if let Some(screen) = brief.output.screen {
            sizes.push(PaperSize::screen(screen.width_px, screen.height_px, brief.output.picture_unit().mm()));
        }
        for (text, size) in &self.size {
            sizes.push(shared::paper(text, *size, &brief.output)?);
        }
        sizes.sort_by(|a, b| (a.width_mm * a.height_mm).total_cmp(&(b.width_mm * b.height_mm)));
        sizes.dedup_by(|a, b| a.name == b.name);
        let distance = self.distance.unwrap_or(Distance::Brief);
        let mut single = self.inputs.len() == 1;
        let mut ladders = Vec::new();
        let mut outside = Vec::new();
        let mut add = |record: &Record| {
            outside.extend(shared::outside(&record.file, self.crop, record.shot.as_ref()));
            let crop = self.crop.and_then(|crop| crop.of(record.shot.as_ref()));
            let ladder = enlarge::ladder(&record.subject(), &brief, crop, self.ppi, distance, &sizes);
            ladders
                .push((Head { file: record.file.clone(), status: record.status, error: record.error.clone() }, ladder));
        };
        let (mut frames, mut records) = (Vec::new(), Vec::new());
        for input in &self.inputs {
            if is_record(input)? { records.push(input.clone()) } else { frames.push(input.clone()) }
        }
        let mut named = HashSet::new();
        frames.retain(|frame| named.insert(key_of_path(frame)));
        if !records.is_empty() {
            single = false;
            for record in crate::frames::streams(&records)?.into_iter().flatten() {
                let record = record.map_err(|e| Failure::nothing(e.to_string()))?;
                // A frame that is named itself is measured now.
                if shared::wanted(&record.file, &self.frame) && !named.contains(record.key()) {
                    add(&record);
                }
            }
        }
        for record in super::measuring::records_of(&frames)? {
            add(&record);
        }
        if ladders.is_empty() {
            return Err(if self.frame.is_empty() {
                crate::frames::no_frame(&records)
            } else {
                shared::no_such_frame(&self.frame)
            });
        }
        // Where the crop fits no frame there is nothing to tell; else the others are told.
        match outside.first() {
            Some(why) if outside.len() == ladders.len() => return Err(Failure::usage(why.clone())),
            Some(why) => {
                let count = shared::unmeasured(outside.len(), ladders.len());
                crate::messages::warning(&format!("{why}; {count}"));
            }
            None => {}
        }
        match plan.form {
            Form::Json => plan.write("enlarge", |out| json(&ladders, single, out))?,
            Form::Csv => plan.csv("enlarge", &csv(&ladders))?,
            Form::Table => plan.write("enlarge", |out| table(&ladders, &brief, distance, self.crop, out))?,
        }
        let unreadable = ladders.iter().filter(|(record, _)| record.status == Status::Unreadable).count();
        for (record, _) in ladders.iter().filter(|(r, _)| r.status == Status::Unreadable) {
            let file = rawassay_report::table::printable(&record.file);
            crate::messages::error(&format!("{file}: {}", record.error.as_deref().unwrap_or("unreadable")));
        }
        Ok(match unreadable {
            n if n == ladders.len() => Exit::Nothing,
            0 if outside.is_empty() => Exit::Done,
            _ => Exit::SomeUnmeasured,
        })
    }
}

/// True where the file is a record (NDJSON): its first character is a brace, which begins no raw format.
fn is_record(path: &Path) -> Result<bool, Failure> {
    use std::io::Read;
    let fail = |e: &std::io::Error| {
        Failure::nothing(format!("{}: cannot be read: {}", path.display(), output::plain_cause(e)))
    };
    if path.is_dir() {
        return Err(Failure::usage(format!(
            "{}: a folder; name its raw files, or the record of its audit",
            path.display()
        )));
    }
    let mut first = Vec::new();
    std::fs::File::open(path).and_then(|f| f.take(64).read_to_end(&mut first)).map_err(|e| fail(&e))?;
    let named = path.extension().is_some_and(|e| e == "ndjson" || e == "jsonl");
    Ok(first.iter().find(|b| !b.is_ascii_whitespace()).map_or(named, |b| *b == b'{'))
}
