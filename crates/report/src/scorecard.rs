//! The scorecard of one frame: record and judgement in the shape that the program promises outside.

use rawassay_analysis::{Blur, Channel, Exposure, Judgement, Noise, PrintFit, Sharpness, Verdict};
use rawassay_decode::{Reader, Shot};
use serde::{Deserialize, Serialize};

use crate::record::{FileId, Record, Status};

/// Version of the scorecard's fields.
pub const SCHEMA: u32 = 1;

/// Range of the frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Range {
    /// log2(saturation / read noise), EV.
    pub engineering_ev: Option<f64>,
    /// Saturation to the tone where SNR meets the brief's limit at the brief's print scale, EV.
    pub usable_ev: Option<f64>,
    /// How far the scene's darkest tones lie inside that range, EV; negative: below it.
    #[serde(default)]
    pub shadow_room_ev: Option<f64>,
    /// That limit, ratio.
    pub snr_limit: f64,
}

/// Scorecard of one frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "docs/scorecard.md describes each field")]
pub struct Scorecard {
    pub schema: u32,
    pub file: String,
    pub file_id: FileId,
    pub status: Status,
    pub error: Option<String>,
    pub notes: Vec<String>,
    pub decoder: Option<Reader>,
    pub shot: Option<Shot>,
    pub channels: Vec<Channel>,
    pub exposure: Option<Exposure>,
    pub noise: Option<Noise>,
    pub range: Range,
    pub sharpness: Option<Sharpness>,
    pub blur: Option<Blur>,
    pub print: PrintFit,
    pub verdict: Verdict,
}

impl Scorecard {
    /// Joins a record and its judgement.
    #[must_use]
    pub fn new(record: &Record, judgement: &Judgement) -> Self {
        let measures = record.measures.as_ref();
        let mut notes = record.notes.clone();
        notes.extend(measures.iter().flat_map(|m| m.notes.iter().cloned()));
        Self {
            schema: SCHEMA,
            file: record.file.clone(),
            file_id: record.file_id.clone(),
            status: record.status,
            error: record.error.clone(),
            notes,
            decoder: record.decoder.clone(),
            shot: record.shot.clone(),
            channels: measures.map(|m| m.channels.clone()).unwrap_or_default(),
            exposure: measures.map(|m| m.exposure.clone()),
            noise: measures.map(|m| m.noise.clone()),
            range: Range {
                engineering_ev: measures.and_then(|m| m.engineering_ev),
                usable_ev: judgement.usable_ev,
                shadow_room_ev: judgement.shadow_room_ev,
                snr_limit: judgement.snr_limit,
            },
            sharpness: measures.map(|m| m.sharpness.clone()),
            blur: measures.map(|m| m.blur.clone()),
            print: judgement.print.clone(),
            verdict: judgement.verdict.clone(),
        }
    }
}
