//! `rawassay sensor`.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use rawassay_analysis::Camera;
use rawassay_analysis::bench::photon_transfer::{Collector, Kind, PhotonTransfer};
use rawassay_decode::Frame;
use serde::Serialize;

use super::shared;
use crate::answer::{AnswerArguments, Form};
use crate::identity;
use crate::messages::{Exit, Failure};
use crate::output::plain_cause;
use crate::tables::Grid;

/// Measure the sensor from evenly lit and dark frames: gain, read noise, full well, range
#[derive(clap::Args)]
pub struct Sensor {
    /// Evenly lit frames, two of each exposure, from dark to saturated, all at one ISO; name several after one --flat
    #[arg(long, value_name = "F", required = true, num_args = 1..)]
    flat: Vec<PathBuf>,
    /// Frames without light at the same ISO, two or more
    #[arg(long, value_name = "F", required = true, num_args = 1..)]
    dark: Vec<PathBuf>,
    #[command(flatten)]
    answer: AnswerArguments,
}

/// The sensor, with what is needed to compare it with others.
#[derive(Serialize)]
struct Answer {
    make: Option<String>,
    model: Option<String>,
    iso: Option<f64>,
    method: &'static str,
    program: &'static str,
    flats: Vec<String>,
    darks: Vec<String>,
    #[serde(flatten)]
    found: PhotonTransfer,
}

const METHOD: &str =
    "photon transfer after EMVA 1288, by position of the filter array, middle 70 % of width and height";
const PROGRAM: &str = concat!("rawassay ", env!("CARGO_PKG_VERSION"));

/// Content of the frames so far: no frame may stand for two.
#[derive(Default)]
struct Seen {
    files: HashMap<String, String>,
    samples: HashMap<[u8; 32], String>,
}

impl Seen {
    /// # Errors
    /// Where the file, a copy of it, or a file with the very same samples was given before.
    fn add(&mut self, name: &str, path: &Path, frame: &Frame) -> Result<(), Failure> {
        let same = |other: &str| {
            let told = if other == name {
                format!("{name}: is given twice")
            } else {
                format!("{other} and {name} are the same frame")
            };
            Failure::usage(format!("{told}; a pair is two different frames of one exposure"))
        };
        // Two frames without any noise in their codes, as wholly blown ones, may be equal; two with noise never are.
        let spp = frame.filter.samples_per_pixel.max(1);
        let step = frame.filter.columns.max(1) * spp;
        let differing = frame.samples.iter().zip(frame.samples.iter().skip(step)).filter(|(a, b)| a != b).count();
        let noisy = differing >= 1000;
        let unreadable = |e: std::io::Error| Failure::nothing(format!("{name}: {}", plain_cause(&e)));
        let file = if noisy {
            identity::identify(path).map_err(unreadable)?.hash
        } else {
            path.canonicalize().map_err(unreadable)?.display().to_string()
        };
        if let Some(other) = self.files.insert(file, name.to_string()) {
            return Err(same(&other));
        }
        if !noisy {
            return Ok(());
        }
        let mut hasher = blake3::Hasher::new();
        let mut bytes = Vec::with_capacity(1 << 16);
        for block in frame.samples.chunks(1 << 15) {
            bytes.clear();
            bytes.extend(block.iter().flat_map(|v| v.to_le_bytes()));
            hasher.update(&bytes);
        }
        match self.samples.insert(*hasher.finalize().as_bytes(), name.to_string()) {
            Some(other) => Err(same(&other)),
            None => Ok(()),
        }
    }
}

impl Sensor {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let inputs: Vec<PathBuf> = self.flat.iter().chain(&self.dark).cloned().collect();
        let plan = self.answer.plan(&inputs)?;
        inputs.iter().try_for_each(|path| shared::no_folder(path))?;
        let mut collector = Collector::new();
        let mut seen = Seen::default();
        let mut shot = None;
        for (paths, kind) in [(&self.dark, Kind::Dark), (&self.flat, Kind::Flat)] {
            for path in paths {
                let name = path.display().to_string();
                let frame = rawassay_decode::open(path).map_err(|e| Failure::nothing(format!("{name}: {e}")))?;
                seen.add(&name, path, &frame)?;
                shot.get_or_insert_with(|| frame.shot.clone());
                collector.add(&name, frame, kind).map_err(|e| Failure::nothing(e.to_string()))?;
            }
        }
        let found = collector.finish().map_err(|e| Failure::nothing(format!("sensor: {e}")))?;
        let names = |paths: &[PathBuf]| paths.iter().map(|p| p.display().to_string()).collect();
        let shot = shot.unwrap_or_default();
        let answer = Answer {
            make: shot.make,
            model: shot.model,
            iso: shot.iso,
            method: METHOD,
            program: PROGRAM,
            flats: names(&self.flat),
            darks: names(&self.dark),
            found,
        };
        match plan.form {
            Form::Json => plan.json("sensor", &answer)?,
            Form::Csv => plan.csv("sensor", &rows(&answer))?,
            Form::Table => plan.text("sensor", &text(&answer))?,
        }
        Ok(Exit::Done)
    }
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(String::new, |v| format!("{v:.digits$}"))
}

/// Columns of the CSV.
pub const COLUMNS: [&str; 29] = [
    "name",
    "gain_e_per_dn",
    "gain_se_e_per_dn",
    "read_noise_e",
    "read_noise_se_e",
    "read_noise_dn",
    "read_noise_se_dn",
    "full_well_e",
    "full_well_se_e",
    "engineering_ev",
    "engineering_se_ev",
    "fit_r2",
    "dark_dn",
    "saturation_dn",
    "saturation_from",
    "snr_max_db",
    "linearity_error_pct",
    "dsnu_e",
    "dsnu_se_e",
    "dsnu_row_e",
    "dsnu_column_e",
    "prnu_pct",
    "prnu_se_pct",
    "glow_e",
    "make",
    "model",
    "iso",
    "flat_pairs",
    "dark_pairs",
];

fn rows(answer: &Answer) -> Vec<Vec<String>> {
    let found = &answer.found;
    let mut rows = vec![COLUMNS.map(String::from).to_vec()];
    rows.extend(found.channels.iter().map(|c| {
        vec![
            c.name.clone(),
            number(Some(c.gain_e_per_dn), 5),
            number(Some(c.gain_se_e_per_dn), 6),
            number(c.read_noise_e, 4),
            number(c.read_noise_se_e, 4),
            number(c.read_noise_dn, 4),
            number(c.read_noise_se_dn, 4),
            number(c.full_well_e, 1),
            number(c.full_well_se_e, 1),
            number(c.engineering_ev, 3),
            number(c.engineering_se_ev, 4),
            number(Some(c.fit_r2), 6),
            number(Some(c.dark_dn), 2),
            number(c.saturation_dn, 1),
            c.saturation_from.into(),
            number(c.snr_max_db, 2),
            number(c.linearity_error_pct, 3),
            number(c.dsnu_e, 4),
            number(c.dsnu_se_e, 4),
            number(c.dsnu_row_e, 4),
            number(c.dsnu_column_e, 4),
            number(c.prnu_pct, 4),
            number(c.prnu_se_pct, 4),
            number(c.glow_e, 2),
            answer.make.clone().unwrap_or_default(),
            answer.model.clone().unwrap_or_default(),
            answer.iso.map_or_else(String::new, |iso| iso.to_string()),
            found.flat_pairs.to_string(),
            found.dark_pairs.to_string(),
        ]
    }));
    rows
}

/// "2.034 +- 0.004".
fn with_error(value: Option<f64>, se: Option<f64>, digits: usize) -> String {
    match (value, se) {
        (Some(v), Some(se)) => format!("{v:.digits$} +- {se:.digits$}"),
        (Some(v), None) => format!("{v:.digits$}"),
        _ => "-".into(),
    }
}

fn text(answer: &Answer) -> String {
    let found = &answer.found;
    let mut grid = Grid::new(&[
        "plane",
        ">gain, e\u{207b}/DN",
        ">read noise, e\u{207b}",
        ">full well, e\u{207b}",
        ">sensor range, EV",
        ">best SNR, dB",
        ">fit, r\u{b2}",
        ">not linear, %",
        ">dark pattern, e\u{207b}",
        ">response pattern, %",
    ]);
    for c in &found.channels {
        grid.row(vec![
            c.name.clone(),
            with_error(Some(c.gain_e_per_dn), Some(c.gain_se_e_per_dn), 4),
            with_error(c.read_noise_e, c.read_noise_se_e, 3),
            with_error(c.full_well_e, c.full_well_se_e, 0),
            with_error(c.engineering_ev, c.engineering_se_ev, 3),
            with_error(c.snr_max_db, None, 1),
            with_error(Some(c.fit_r2), None, 4),
            with_error(c.linearity_error_pct, None, 2),
            with_error(c.dsnu_e, c.dsnu_se_e, 3),
            with_error(c.prnu_pct, c.prnu_se_pct, 3),
        ]);
    }
    let pairs = |n: usize, of: &str| format!("{n} {} of {of}", if n == 1 { "pair" } else { "pairs" });
    let iso = answer.iso.map_or_else(String::new, |iso| format!(", ISO {iso:.0}"));
    let camera = Camera { make: answer.make.as_deref(), model: answer.model.as_deref(), serial: None };
    let camera = camera.make_and_model().unwrap_or_else(|| "Sensor".into());
    let mut text = format!(
        "{}{iso}: sensor by photon transfer (EMVA 1288), {} and {}\n\n{}\n",
        rawassay_report::table::printable(&camera),
        pairs(found.flat_pairs, "flats"),
        pairs(found.dark_pairs, "dark frames"),
        grid.text()
    );
    text.push_str(
        "+-: one standard error, from the pixels counted and the scatter of the pairs; drift of lamp and temperature is not in it.\n\
         Patterns stand still from frame to frame (DSNU and PRNU of EMVA 1288); - where they do not stand out of the noise.\n\
         Range is full well over read noise of one pixel; a print shows less of it (see `explain engineering_ev`).\n",
    );
    for note in &found.notes {
        let _ = writeln!(text, "note: {note}");
    }
    text
}
