//! Scorecards as JSON: one array, or one object per line.

use std::io::Write;

use crate::error::ReportError;
use crate::numbers::write_json_line;
use crate::scorecard::Scorecard;
use crate::writer::{ScorecardWriter, Totals};

/// One JSON array, a card per line.
#[derive(Debug, Default)]
pub struct JsonWriter {
    cards: usize,
}

impl ScorecardWriter for JsonWriter {
    fn begin(&mut self, out: &mut dyn Write) -> Result<(), ReportError> {
        Ok(out.write_all(b"[")?)
    }

    fn card(&mut self, card: &Scorecard, out: &mut dyn Write) -> Result<(), ReportError> {
        out.write_all(if self.cards == 0 { b"\n" } else { b",\n" })?;
        self.cards += 1;
        write_json_line(out, card)
    }

    fn finish(&mut self, _: &Totals, out: &mut dyn Write) -> Result<(), ReportError> {
        Ok(out.write_all(if self.cards == 0 { b"]\n" } else { b"\n]\n" })?)
    }
}

/// One JSON object per line.
#[derive(Debug)]
pub struct NdjsonWriter;

impl ScorecardWriter for NdjsonWriter {
    fn begin(&mut self, _: &mut dyn Write) -> Result<(), ReportError> {
        Ok(())
    }

    fn card(&mut self, card: &Scorecard, out: &mut dyn Write) -> Result<(), ReportError> {
        write_json_line(&mut *out, card)?;
        Ok(out.write_all(b"\n")?)
    }

    fn finish(&mut self, _: &Totals, _: &mut dyn Write) -> Result<(), ReportError> {
        Ok(())
    }
}
