//! A frame as series and sets see it: the few readings that they compare, kept small so that a record of a hundred
//! thousand frames fits into memory (about 1.4 kB a frame, of which the small picture takes 0.8).

use std::collections::HashSet;
use std::sync::Arc;

use rawassay_decode::{Orientation, PitchFrom, Shot};

use crate::series::zones;
use crate::sets::Clock;
use crate::{BlurKind, FindingCode, Judgement, Likeness, Measures, Outcome, RiseMap, Severity};

/// A reading in eight bytes: unknown is NaN, which no measure lets through.
#[derive(Debug, Clone, Copy)]
struct Reading(f64);

impl Reading {
    fn get(self) -> Option<f64> {
        (!self.0.is_nan()).then_some(self.0)
    }
}

impl From<Option<f64>> for Reading {
    fn from(value: Option<f64>) -> Self {
        Self(value.unwrap_or(f64::NAN))
    }
}

/// What took the frame, as the file tells it; shared by all frames of one body and lens.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Gear {
    /// Maker.
    pub make: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// Serial number of the body.
    pub serial: Option<String>,
    /// Lens.
    pub lens: Option<String>,
}

/// Readings by name, with their unit in it; each has a getter.
macro_rules! readings {
    ($($(#[$about:meta])* $name:ident = $from:expr;)*) => {
        #[derive(Debug, Clone)]
        struct Readings { $($name: Reading,)* }

        impl Readings {
            fn of(all: &Sources<'_>) -> Self {
                Self { $($name: Reading::from(($from)(all)),)* }
            }
        }

        impl FrameRow {
            $($(#[$about])* #[must_use] pub fn $name(&self) -> Option<f64> { self.readings.$name.get() })*
        }
    };
}

/// Where readings come from.
struct Sources<'a> {
    shot: &'a Shot,
    measures: &'a Measures,
    judgement: &'a Judgement,
}

readings! {
    /// ISO.
    iso = |s: &Sources<'_>| s.shot.iso;
    /// Exposure time, seconds.
    shutter_s = |s: &Sources<'_>| s.shot.shutter_s;
    /// f-number.
    f_number = |s: &Sources<'_>| s.shot.f_number;
    /// Focal length, mm.
    focal_mm = |s: &Sources<'_>| s.shot.focal_mm;
    /// 35 mm equivalent focal length, mm.
    focal35_mm = |s: &Sources<'_>| s.shot.focal35_mm;
    /// Exposure bias, EV.
    exposure_bias_ev = |s: &Sources<'_>| s.shot.exposure_bias_ev;
    /// Pixel pitch, micrometres.
    pixel_pitch_um = |s: &Sources<'_>| s.shot.pixel_pitch_um;
    /// See [`crate::Noise::snr_midtone_db`].
    snr_midtone_db = |s: &Sources<'_>| s.measures.noise.snr_midtone_db;
    /// See [`crate::Noise::read_noise_dn`].
    read_noise_dn = |s: &Sources<'_>| s.measures.noise.read_noise_dn;
    /// See [`crate::Noise::gain_e_per_dn`].
    gain_e_per_dn = |s: &Sources<'_>| s.measures.noise.gain_e_per_dn;
    /// See [`crate::Noise::row_banding_dn`].
    row_banding_dn = |s: &Sources<'_>| s.measures.noise.row_banding_dn;
    /// See [`crate::Noise::column_banding_dn`].
    column_banding_dn = |s: &Sources<'_>| s.measures.noise.column_banding_dn;
    /// Electrons at saturation of the green (or only) planes.
    full_well_e = |s: &Sources<'_>| {
        let channels = &s.measures.channels;
        channels.iter().find(|c| c.name.starts_with('G')).or(channels.first())?.full_well_e
    };
    /// See [`Measures::engineering_ev`].
    engineering_ev = |s: &Sources<'_>| s.measures.engineering_ev;
    /// See [`crate::Sharpness::edge_rise_px`].
    edge_rise_px = |s: &Sources<'_>| s.measures.sharpness.edge_rise_px;
    /// See [`crate::Sharpness::edge_rise_spread_px`].
    edge_rise_spread_px = |s: &Sources<'_>| s.measures.sharpness.edge_rise_spread_px;
    /// Median rise of the tiles in the middle, pixels.
    centre_rise_px = |s: &Sources<'_>| zones::centre_rise_px(&s.measures.sharpness.map);
    /// Median rise of the tiles in the corners, pixels.
    corners_rise_px = |s: &Sources<'_>| zones::corners_rise_px(&s.measures.sharpness.map);
    /// See [`crate::Sharpness::mtf50_cy_px`].
    mtf50_cy_px = |s: &Sources<'_>| s.measures.sharpness.mtf50_cy_px;
    /// See [`crate::Sharpness::mtf50_lp_mm`].
    mtf50_lp_mm = |s: &Sources<'_>| s.measures.sharpness.mtf50_lp_mm;
    /// See [`crate::Blur::motion_px`].
    motion_px = |s: &Sources<'_>| s.measures.blur.motion_px;
    /// See [`crate::Blur::motion_tiles_pct`].
    motion_tiles_pct = |s: &Sources<'_>| s.measures.blur.motion_tiles_pct;
    /// See [`crate::Blur::expected_diffraction_px`].
    expected_diffraction_px = |s: &Sources<'_>| s.measures.blur.expected_diffraction_px;
    /// See [`crate::Exposure::scene_range_ev`].
    scene_range_ev = |s: &Sources<'_>| s.measures.exposure.scene_range_ev;
    /// See [`crate::Exposure::darkest_ev`].
    darkest_ev = |s: &Sources<'_>| s.measures.exposure.darkest_ev;
    /// See [`crate::Exposure::brighter_by_ev`].
    brighter_by_ev = |s: &Sources<'_>| s.measures.exposure.brighter_by_ev;
    /// See [`Judgement::usable_ev`].
    usable_ev = |s: &Sources<'_>| s.judgement.usable_ev;
    /// See [`crate::PrintFit::ppi`].
    ppi = |s: &Sources<'_>| s.judgement.print.ppi;
    /// See [`crate::PrintFit::rise_mm`].
    print_rise_mm = |s: &Sources<'_>| s.judgement.print.rise_mm;
    /// See [`crate::PrintFit::motion_mm`].
    print_motion_mm = |s: &Sources<'_>| s.judgement.print.motion_mm;
    /// See [`crate::PrintFit::snr_midtone`].
    print_snr_midtone = |s: &Sources<'_>| s.judgement.print.snr_midtone;
    /// See [`crate::PrintFit::eye_limit_mm`].
    eye_limit_mm = |s: &Sources<'_>| s.judgement.print.eye_limit_mm;
    /// See [`crate::PrintFit::finest_mm`].
    finest_mm = |s: &Sources<'_>| s.judgement.print.finest_mm;
}

/// One measured frame with its judgement for the brief in use.
#[derive(Debug, Clone)]
pub struct FrameRow {
    /// Path as given.
    pub file: Box<str>,
    /// What took it.
    pub gear: Arc<Gear>,
    /// When, by the camera's clock.
    pub(crate) clock: Option<Clock>,
    /// Columns of the picture.
    pub width_px: usize,
    /// Rows of the picture.
    pub height_px: usize,
    /// How the frame is turned to stand upright.
    pub orientation: Orientation,
    /// Where the pixel pitch comes from.
    pub pitch_from: Option<PitchFrom>,
    /// What blurred it.
    pub blur_kind: BlurKind,
    /// See [`crate::Exposure::clipped_any_pct`].
    pub clipped_any_pct: f64,
    /// Outcome for the brief.
    pub outcome: Outcome,
    /// Width and height of the largest honest print, inches.
    pub largest_in: Option<(f64, f64)>,
    /// True where part of the sensor data is missing: its measures are not to be trusted.
    pub damaged: bool,
    /// What the brief finds, worst first.
    pub findings: Box<[(FindingCode, Severity)]>,
    /// Small picture.
    pub likeness: Likeness,
    /// Rise in each tile, [`TILE_STEPS`] per doubling; 0 where unknown.
    tiles: Box<[u8]>,
    /// The first bytes of the content's hash; `None` where it is not known.
    pub(crate) content: Option<u64>,
    rise_by_direction_px: [Reading; 12],
    readings: Readings,
}

impl FrameRow {
    /// The same frame with the hash of its file's content (hexadecimal), by which copies are told.
    #[must_use]
    pub fn identified(self, hash: &str) -> Self {
        let content = hash.get(..16).and_then(|start| u64::from_str_radix(start, 16).ok());
        Self { content, ..self }
    }

    /// Rise by direction of the edge normal, 12 bins of 15 degrees, pixels.
    #[must_use]
    pub fn rise_by_direction_px(&self, bin: usize) -> Option<f64> {
        self.rise_by_direction_px.get(bin).and_then(|rise| rise.get())
    }

    /// Tiles that are clearly sharper in this frame than in the other, tiles that are clearly softer, and tiles known in both.
    #[must_use]
    pub(crate) fn tiles_against(&self, other: &Self) -> (usize, usize, usize) {
        let (mut sharper, mut softer, mut shared) = (0, 0, 0);
        if self.tiles.len() == other.tiles.len() {
            for (a, b) in self.tiles.iter().zip(&*other.tiles).filter(|(a, b)| **a > 0 && **b > 0) {
                shared += 1;
                sharper += usize::from(*a + CLEARLY <= *b);
                softer += usize::from(*b + CLEARLY <= *a);
            }
        }
        (sharper, softer, shared)
    }

    /// The worst that the brief finds of these codes.
    #[must_use]
    pub fn worst(&self, codes: &[FindingCode]) -> Option<Severity> {
        self.findings.iter().filter(|f| codes.contains(&f.0)).map(|f| f.1).max()
    }

    /// The body that took the frame.
    #[must_use]
    pub fn camera(&self) -> Camera<'_> {
        fn text(value: Option<&String>) -> Option<&str> {
            value.map(|s| s.trim()).filter(|s| !s.is_empty())
        }
        let gear = &*self.gear;
        Camera { make: text(gear.make.as_ref()), model: text(gear.model.as_ref()), serial: text(gear.serial.as_ref()) }
    }
}

/// Makes rows; frames of one body and lens share their names.
#[derive(Debug, Default)]
pub struct RowMaker {
    gear: HashSet<Arc<Gear>>,
}

impl RowMaker {
    /// The row of a frame.
    #[must_use]
    pub fn row(
        &mut self,
        file: &str,
        shot: &Shot,
        measures: &Measures,
        judgement: &Judgement,
        damaged: bool,
    ) -> FrameRow {
        let gear = Gear {
            make: shot.make.clone(),
            model: shot.model.clone(),
            serial: shot.serial.clone(),
            lens: shot.lens.clone(),
        };
        let gear = match self.gear.get(&gear) {
            Some(known) => Arc::clone(known),
            None => {
                let gear = Arc::new(gear);
                self.gear.insert(Arc::clone(&gear));
                gear
            }
        };
        let mut likeness = measures.likeness.clone();
        likeness.below_saturation.shrink_to_fit();
        FrameRow {
            file: file.into(),
            gear,
            clock: Clock::of(shot),
            width_px: shot.width_px,
            height_px: shot.height_px,
            orientation: shot.orientation,
            pitch_from: shot.pitch_from,
            blur_kind: measures.blur.kind,
            clipped_any_pct: measures.exposure.clipped_any_pct,
            outcome: judgement.verdict.outcome,
            largest_in: judgement.print.largest.as_ref().map(|l| (l.width_in, l.height_in)),
            damaged,
            findings: judgement.verdict.findings.iter().map(|f| (f.code, f.severity)).collect(),
            likeness,
            tiles: tiles(&measures.sharpness.map),
            content: None,
            rise_by_direction_px: measures.sharpness.rise_by_direction_px.map(Reading::from),
            readings: Readings::of(&Sources { shot, measures, judgement }),
        }
    }
}

/// Steps of a tile's rise per doubling.
const TILE_STEPS: f64 = 16.0;
/// Steps by which a tile is clearly sharper than another: half as wide again.
const CLEARLY: u8 = 9;

/// Rises of the tiles in a byte each.
fn tiles(map: &RiseMap) -> Box<[u8]> {
    let step = |rise: f64| (1.0 + TILE_STEPS * (rise / 0.25).log2()).round().clamp(1.0, 240.0) as u8;
    map.rise_px.iter().map(|rise| rise.filter(|r| *r > 0.0).map_or(0, step)).collect()
}

/// The file's name without its folders, for sentences; answers that name files for a program give the whole path.
#[must_use]
pub fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().filter(|name| !name.is_empty()).unwrap_or(path)
}

/// A camera body: maker, model and serial number, as far as the file tells them.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Camera<'a> {
    /// Maker.
    pub make: Option<&'a str>,
    /// Model.
    pub model: Option<&'a str>,
    /// Serial number of the body.
    pub serial: Option<&'a str>,
}

impl Camera<'_> {
    /// A name to print: model (or maker), with the serial number where `with_serial`.
    #[must_use]
    pub fn name(&self, with_serial: bool) -> String {
        let name = self.model.or(self.make).unwrap_or("unnamed camera");
        match self.serial {
            Some(serial) if with_serial => format!("{name} #{serial}"),
            _ => name.to_string(),
        }
    }

    /// True where the model begins with its maker, as a word: then the maker need not be told before it.
    #[must_use]
    pub fn model_names_maker(&self) -> bool {
        self.make
            .zip(self.model)
            .and_then(|(make, model)| model.strip_prefix(make))
            .is_some_and(|rest| !rest.starts_with(char::is_alphanumeric))
    }

    /// Maker and model, the maker once; `None` where neither is known.
    #[must_use]
    pub fn make_and_model(&self) -> Option<String> {
        let make = self.make.filter(|make| !make.is_empty() && !self.model_names_maker());
        let parts: Vec<&str> = make.into_iter().chain(self.model.filter(|model| !model.is_empty())).collect();
        (!parts.is_empty()).then(|| parts.join(" "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_maker_is_told_once() {
        let named = |make, model| Camera { make, model, serial: None }.make_and_model();
        for (make, model, name) in [
            ("Ours", "Ours 7", "Ours 7"),
            ("Ours", "Ours-7", "Ours-7"),
            ("Ours", "Ours", "Ours"),
            ("Ours", "7", "Ours 7"),
            // Another word that begins with the same letters.
            ("Our", "Ours 7", "Our Ours 7"),
            ("", "7", "7"),
            ("Ours", "", "Ours"),
        ] {
            assert_eq!(named(Some(make), Some(model)).as_deref(), Some(name), "{make}, {model}");
        }
        assert_eq!(named(None, Some("7")).as_deref(), Some("7"));
        assert_eq!(named(Some("Ours"), None).as_deref(), Some("Ours"));
        assert_eq!(named(None, None), None);
    }
}
