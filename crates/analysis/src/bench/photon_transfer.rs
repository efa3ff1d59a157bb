//! Photon transfer: gain, read noise, full well and range of each plane from pairs of evenly lit and of dark frames.
//!
//! Method: EMVA 1288 (photon transfer, pairs of frames of one exposure) and Janesick, "Photon Transfer". Temporal variance
//! of a pair A, B: that of A - B, B brought to the mean light of A, over 2, so that whatever stands still (fixed pattern,
//! vignetting, dust) cancels. The slope of variance over mean, both above the dark frames', from 0 to 70 % of saturation, is one
//! over the gain. Dark noise is that of the dark pairs less the rounding's 1/12 DN^2. Saturation is the level at which a flat's
//! samples pile up or its variance has collapsed (`top_level`), else that of the other planes, else the declared white level.
//! Unit: electrons, DN. Input: the middle 70 % of width and height of each frame.
//! Fails when: the frames do not belong together, an exposure has a single frame, or too few exposures lie below 70 %
//! of saturation, or the noise does not follow the light.

mod found;

use rawassay_decode::Frame;

pub use found::{PhotonTransfer, SensorChannel, TransferPoint};

use super::belonging::{Identity, mismatch, other_levels, same_exposure};
use super::flat_pairs::{Pair, means, middle, pair};
use super::transfer_fit::channels;
use crate::measures::glow::Tiles;

/// Flats of one exposure may differ in level by this share.
const SAME_LEVEL: f64 = 0.03;

/// Share of the range above black from which a dark frame holds light.
const DARK_LIMIT: f64 = 0.02;

/// Exposure times of dark frames and flats are far apart from this ratio on, where dark current has time to show: dark frames
/// longer than `LONG_DARK_S`, flats longer than `LONG_FLAT_S`.
const OTHER_TIME: f64 = 4.0;
const LONG_DARK_S: f64 = 0.1;
const LONG_FLAT_S: f64 = 1.0;

/// Why a set of frames cannot be used: one line that names the frame and says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct TransferError(pub(super) String);

/// What a frame of the set is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Evenly lit.
    Flat,
    /// No light.
    Dark,
}

struct Waiting {
    name: String,
    frame: Frame,
    means: Vec<f64>,
}

/// The first frame of a set: its name, what it shares with the others, black and white level of each plane.
struct First {
    name: String,
    identity: Identity,
    levels: Vec<(f64, f64)>,
}

/// Collects frames one by one; of each pair only the figures are kept, so memory holds the frames that wait for their
/// partner and no more.
#[derive(Default)]
pub struct Collector {
    first: Option<First>,
    waiting: Vec<Waiting>,
    waiting_dark: Option<Waiting>,
    flats: Vec<Pair>,
    darks: Vec<Pair>,
    /// Tiles of the dark frames, summed, and how many.
    dark_tiles: Option<(Tiles, f64)>,
}

impl Collector {
    /// An empty set.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a frame; `name` is what messages call it.
    ///
    /// # Errors
    /// Where the frame does not belong to the set, is dithered or linear, or a dark frame holds light.
    pub fn add(&mut self, name: &str, frame: Frame, kind: Kind) -> Result<(), TransferError> {
        let fail = |what: String| Err(TransferError(format!("{name}: {what}")));
        if frame.filter.is_linear() {
            return fail("holds interpolated colours, not the mosaic; use raw frames as the camera stores them".into());
        }
        if frame.dithered {
            return fail("passed a curve that spoils its noise; set the camera to uncompressed or lossless raw".into());
        }
        let area = middle(&frame);
        if area.is_empty() || area.width < 16 || area.height < 16 {
            return fail("is too small for photon transfer; use full frames".into());
        }
        let identity = Identity::of(&frame);
        match &self.first {
            None => {
                let levels = frame.levels.iter().map(|l| (l.black_dn, l.white_declared_dn)).collect();
                self.first = Some(First { name: name.into(), identity, levels });
            }
            Some(first) => {
                if let Some(what) = mismatch(&first.identity, &identity) {
                    let other = &first.name;
                    return fail(format!("{what} {other}; use frames of one camera at one ISO and size"));
                }
                if frame
                    .levels
                    .iter()
                    .zip(&first.levels)
                    .any(|(l, &first)| other_levels(l.black_dn, l.white_declared_dn, first))
                {
                    let other = &first.name;
                    let level = |levels: &[(f64, f64)]| {
                        let (black, white) = levels.first().copied().unwrap_or_default();
                        format!("black {black:.0}, white {white:.0}")
                    };
                    let own: Vec<(f64, f64)> = frame.levels.iter().map(|l| (l.black_dn, l.white_declared_dn)).collect();
                    return fail(format!(
                        "has other levels ({}) than {other} ({}): another camera, or another raw mode; use frames of one",
                        level(&own),
                        level(&first.levels)
                    ));
                }
            }
        }
        let means = means(&frame, &area);
        match kind {
            Kind::Dark => {
                for (mean, level) in means.iter().zip(&frame.levels) {
                    if mean - level.black_dn > DARK_LIMIT * (level.white_declared_dn - level.black_dn) {
                        return fail(
                            "is given as dark but holds light; give it to --flat, or cover the lens and take it again"
                                .into(),
                        );
                    }
                }
                let tiles = Tiles::of(&frame);
                match &mut self.dark_tiles {
                    Some((sum, n)) => {
                        sum.add(&tiles);
                        *n += 1.0;
                    }
                    None => self.dark_tiles = Some((tiles, 1.0)),
                }
                match self.waiting_dark.take() {
                    Some(other) => self.darks.push(pair(&other.name, &other.frame, &frame, &area)),
                    None => self.waiting_dark = Some(Waiting { name: name.into(), frame, means }),
                }
            }
            Kind::Flat => {
                let black: Vec<f64> = frame.levels.iter().map(|l| l.black_dn).collect();
                let partner = self
                    .waiting
                    .iter()
                    .position(|w| same_exposure(&w.frame.shot, &frame.shot) && same_level(&w.means, &means, &black));
                match partner {
                    Some(at) => {
                        let other = self.waiting.swap_remove(at);
                        self.flats.push(pair(&other.name, &other.frame, &frame, &area));
                    }
                    None => self.waiting.push(Waiting { name: name.into(), frame, means }),
                }
            }
        }
        Ok(())
    }

    /// Works out the sensor.
    ///
    /// # Errors
    /// Where a frame has no partner, or the exposures do not reach over the range.
    pub fn finish(self) -> Result<PhotonTransfer, TransferError> {
        let fail = |what: String| Err(TransferError(what));
        let Some(First { identity, levels, .. }) = self.first else {
            return fail("no frames: give at least two dark frames and two flats of each of four exposures".into());
        };
        // One more than a pair or two of its exposure can be spared; one that stands alone is a slip.
        let black: Vec<f64> = levels.iter().map(|l| l.0).collect();
        let spared = |waiting: &Waiting| {
            self.flats.iter().any(|f| {
                let means: Vec<f64> = f.points.iter().map(|q| q.mean_dn).collect();
                same_exposure(&f.shot, &waiting.frame.shot) && same_level(&means, &waiting.means, &black)
            })
        };
        if let Some(alone) = self.waiting.iter().find(|w| !spared(w)) {
            return fail(format!(
                "{}: no other flat has its exposure and level; take two flats of each exposure, or leave it out",
                alone.name
            ));
        }
        if let (true, Some(alone)) = (self.darks.is_empty(), &self.waiting_dark) {
            return fail(format!("{}: the only dark frame; take at least two", alone.name));
        }
        if self.darks.is_empty() {
            return fail("no dark frames: cover the lens and take at least two at the same ISO".into());
        }
        let no_light = |pair: &Pair| {
            pair.points
                .iter()
                .zip(&self.darks[0].points)
                .zip(&levels)
                .all(|((flat, dark), (black, white))| flat.mean_dn - dark.mean_dn < 0.002 * (white - black))
        };
        if !self.flats.is_empty() && self.flats.iter().all(no_light) {
            return fail("no flat holds light; are --flat and --dark given the other way round?".into());
        }
        let mut notes: Vec<String> = self
            .waiting
            .iter()
            .map(|w| format!("{}: left out, an odd number of flats of its exposure", w.name))
            .collect();
        if let Some(alone) = &self.waiting_dark {
            notes.push(format!("{}: left out, an odd number of dark frames", alone.name));
        }
        let names = identity.filter.planes.iter().map(|plane| plane.name.as_str());
        let planes: Vec<(&str, (f64, f64))> = names.zip(levels.iter().copied()).collect();
        notes.extend(other_times(&self.flats, &self.darks));
        let mut channels = channels(&planes, &self.flats, &self.darks, &mut notes)?;
        let grown = self.dark_tiles.as_ref().and_then(|(tiles, n)| tiles.growth_of_planes(*n));
        if let Some((each, side)) = grown {
            for (found, dn) in channels.iter_mut().zip(each) {
                found.glow_e = Some(dn * found.gain_e_per_dn);
                notes.push(format!(
                    "{}: the dark frames grow lighter towards {side} (amplifier glow, glow_e)",
                    found.name
                ));
            }
        }
        let notes = together(notes);
        Ok(PhotonTransfer { channels, flat_pairs: self.flats.len(), dark_pairs: self.darks.len(), notes })
    }
}

/// Flats of one exposure are of one light where no plane differs by more than `SAME_LEVEL`.
fn same_level(a: &[f64], b: &[f64], black: &[f64]) -> bool {
    a.iter().zip(b).zip(black).all(|((a, b), k)| (a - b).abs() <= SAME_LEVEL * (a.max(*b) - k).max(0.0) + 1.0)
}

/// Dark current grows with time: a note where the dark frames' is far from the flats'.
fn other_times(flats: &[Pair], darks: &[Pair]) -> Option<String> {
    let longest = |pairs: &[Pair]| pairs.iter().filter_map(|p| p.shot.shutter_s).reduce(f64::max);
    let (flat, dark) = (longest(flats)?, longest(darks)?);
    if dark > OTHER_TIME * flat && dark > LONG_DARK_S {
        Some(format!(
            "dark frames: exposed for {dark} s, the flats for {flat} s at most; the noise of {dark} s of dark current would be in \
             read noise; take dark frames of the flats' times"
        ))
    } else if flat > OTHER_TIME * dark && flat > LONG_FLAT_S {
        Some(format!(
            "dark frames: exposed for {dark} s, the flats for up to {flat} s, whose dark current would count as light; take dark \
             frames of the flats' times"
        ))
    } else {
        None
    }
}

/// A note that several planes share stands once, with their names.
fn together(notes: Vec<String>) -> Vec<String> {
    let mut told: Vec<(Vec<String>, String)> = Vec::new();
    for note in notes {
        let (name, text) = note.split_once(": ").unwrap_or(("", &note));
        match told.iter_mut().find(|(_, known)| known == text) {
            Some((names, _)) => names.push(name.into()),
            None => told.push((vec![name.into()], text.into())),
        }
    }
    told.into_iter().map(|(names, text)| format!("{}: {text}", names.join(", "))).collect()
}

#[cfg(test)]
mod tests;
