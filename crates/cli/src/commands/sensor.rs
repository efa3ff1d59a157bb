//! `rawassay sensor`.

use std::path::{Path, PathBuf};

use rawassay_analysis::bench::photon_transfer::{Collector, Kind, PhotonTransfer};

use crate::answer::{AnswerArguments, Form};
use crate::messages::{Exit, Failure};
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

impl Sensor {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        let inputs: Vec<PathBuf> = self.flat.iter().chain(&self.dark).cloned().collect();
        let plan = self.answer.plan(&inputs)?;
        let mut collector = Collector::new();
        for (paths, kind) in [(&self.dark, Kind::Dark), (&self.flat, Kind::Flat)] {
            for path in paths {
                add(&mut collector, path, kind)?;
            }
        }
        let found = collector.finish().map_err(|e| Failure::nothing(format!("sensor: {e}")))?;
        match plan.form {
            Form::Json => plan.json("sensor", &found)?,
            Form::Csv => plan.csv("sensor", &rows(&found))?,
            Form::Table => plan.text("sensor", &text(&found))?,
        }
        Ok(Exit::Done)
    }
}

fn add(collector: &mut Collector, path: &Path, kind: Kind) -> Result<(), Failure> {
    let name = path.display().to_string();
    let frame = rawassay_decode::open(path).map_err(|e| Failure::nothing(format!("{name}: {e}")))?;
    collector.add(&name, frame, kind).map_err(|e| Failure::nothing(e.to_string()))
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(String::new, |v| format!("{v:.digits$}"))
}

/// Columns of the CSV.
pub const COLUMNS: [&str; 12] = [
    "name",
    "gain_e_per_dn",
    "read_noise_e",
    "read_noise_dn",
    "full_well_e",
    "engineering_ev",
    "fit_r2",
    "dark_dn",
    "saturation_dn",
    "saturation_from",
    "snr_max_db",
    "linearity_error_pct",
];

fn rows(found: &PhotonTransfer) -> Vec<Vec<String>> {
    let mut rows = vec![COLUMNS.map(String::from).to_vec()];
    rows.extend(found.channels.iter().map(|c| {
        vec![
            c.name.clone(),
            number(Some(c.gain_e_per_dn), 5),
            number(c.read_noise_e, 4),
            number(c.read_noise_dn, 4),
            number(Some(c.full_well_e), 1),
            number(c.engineering_ev, 3),
            number(Some(c.fit_r2), 6),
            number(Some(c.dark_dn), 2),
            number(Some(c.saturation_dn), 1),
            c.saturation_from.into(),
            number(c.snr_max_db, 2),
            number(c.linearity_error_pct, 3),
        ]
    }));
    rows
}

fn text(found: &PhotonTransfer) -> String {
    let mut grid = Grid::new(&[
        "plane",
        ">electrons per DN",
        ">read noise e-",
        ">full well e-",
        ">range EV",
        ">best SNR dB",
        ">fit r2",
        ">not linear %",
    ]);
    for c in &found.channels {
        let shown = |v, digits| {
            let text = number(v, digits);
            if text.is_empty() { "-".into() } else { text }
        };
        grid.row(vec![
            c.name.clone(),
            shown(Some(c.gain_e_per_dn), 3),
            shown(c.read_noise_e, 2),
            shown(Some(c.full_well_e), 0),
            shown(c.engineering_ev, 2),
            shown(c.snr_max_db, 1),
            shown(Some(c.fit_r2), 4),
            shown(c.linearity_error_pct, 2),
        ]);
    }
    let mut text = format!(
        "Sensor by photon transfer (EMVA 1288): {} pairs of flats, {} of darks\n\n{}\n",
        found.flat_pairs,
        found.dark_pairs,
        grid.text()
    );
    text.push_str(
        "Range is full well over read noise of one pixel; a print shows less of it (see `explain engineering_ev`).\n",
    );
    for note in &found.notes {
        text.push_str(&format!("note: {note}\n"));
    }
    text
}
