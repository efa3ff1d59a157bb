//! `rawassay brief`.

use std::fmt::Write as _;

use rawassay_analysis::Brief as Output;
use rawassay_analysis::brief::BriefError;
use rawassay_report::Table;
use rawassay_report::table::Weight;

use crate::messages::{Exit, Failure};
use crate::output::{self, Sink};

/// List, show and check output briefs
#[derive(clap::Args)]
pub struct Brief {
    /// What to do; the list where nothing is said
    #[command(subcommand)]
    action: Option<Action>,
}

#[derive(clap::Subcommand)]
enum Action {
    /// The built-in briefs
    List {
        /// Form of the answer
        #[arg(long, value_enum, default_value_t = Form::Table)]
        format: Form,
    },
    /// A brief as a commented TOML file: a start for your own
    Show {
        /// A built-in brief, a file, or a size such as "100 x 75 cm at 1 m"
        #[arg(value_name = "NAME")]
        name: String,
        /// Form of the answer
        #[arg(long, value_enum, default_value_t = ShowForm::Toml)]
        format: ShowForm,
    },
    /// Read a brief and say what is wrong with it, or what it asks for
    Check {
        /// The TOML file
        #[arg(value_name = "FILE")]
        file: String,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// For people
    Table,
    /// One array
    Json,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum ShowForm {
    /// As a file
    Toml,
    /// One object, lengths in mm
    Json,
}

impl Brief {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        match self.action.unwrap_or(Action::List { format: Form::Table }) {
            Action::List { format } => list(format)?,
            Action::Show { name, format } => {
                let brief = find(&name)?;
                output::print(&match format {
                    ShowForm::Toml => brief.to_toml(),
                    ShowForm::Json => json(&brief)?,
                })?;
            }
            Action::Check { file } if !std::path::Path::new(&file).exists() => {
                output::print(&asked(&file, &find(&file)?))?;
            }
            Action::Check { file } => {
                // A file that is named like a built-in brief is meant as the file.
                let brief = Output::read(&file).map_err(|e| Failure::nothing(told(e)))?;
                output::print(&asked(&file, &brief))?;
            }
        }
        Ok(Exit::Done)
    }
}

/// A brief by name or path.
///
/// # Errors
/// Where there is none.
pub fn find(name: &str) -> Result<Output, Failure> {
    Output::find(name).map_err(|e| Failure::usage(told(e)))
}

/// An error of a brief; what the system says of a file in plain words.
fn told(error: BriefError) -> String {
    match error {
        BriefError::Io { file, source } => {
            format!("{file}: cannot be read ({}); name a TOML file", output::cause(&source).to_lowercase())
        }
        other => other.to_string(),
    }
}

fn json<T: serde::Serialize>(value: &T) -> Result<String, Failure> {
    let mut text = serde_json::to_string_pretty(value).map_err(|e| Failure::nothing(e.to_string()))?;
    text.push('\n');
    Ok(text)
}

fn list(format: Form) -> Result<(), Failure> {
    let briefs: Vec<Output> = Output::built_in_names().iter().filter_map(|name| Output::built_in(name)).collect();
    if format == Form::Json {
        return output::print(&json(&briefs)?);
    }
    let mut table = Table::new(
        output::stdout_style(),
        &["brief", ">size", ">seen from", ">ppi wanted", ">at the least", ">widest edge on paper"],
    );
    for brief in &briefs {
        let seen = rawassay_analysis::print::seen(&brief.output);
        let rise = brief.limits.rise_eye_limits;
        let cells = vec![
            brief.name.clone(),
            brief.size_text(),
            brief.distance_text(),
            brief.output.ppi_wanted.to_string(),
            brief.output.ppi_least.to_string(),
            format!("{:.2} mm, fails from {:.2}", rise.borderline * seen.finest_mm, rise.fails * seen.finest_mm),
        ];
        table.row(cells, Weight::Plain);
    }
    let mut sink = Sink::open(None)?;
    table.write(&mut sink).or_else(|e| sink.fault(e))?;
    sink.finish()
}

/// What a brief asks for, in lines.
fn asked(file: &str, brief: &Output) -> String {
    let o = &brief.output;
    let seen = rawassay_analysis::print::seen(o);
    let limits = &brief.limits;
    let mut text = String::new();
    let doubts = brief.doubts();
    let _ = if doubts.is_empty() {
        writeln!(text, "{file}: a good brief")
    } else {
        writeln!(text, "{file}: can be used, but look at this")
    };
    for doubt in doubts {
        let _ = write!(text, "  {}", crate::tables::wrap(&doubt, "    "));
    }
    let _ = writeln!(text, "  {}, seen from {}", brief.title(), brief.distance_text());
    let _ = writeln!(text, "  pixels    {} ppi wanted, {} at the least", o.ppi_wanted, o.ppi_least);
    if let Some(screen) = o.screen {
        let _ = writeln!(text, "  screen    {} pixels per inch (screen_ppi)", screen.ppi);
    }
    let mm = |v: f64| v * seen.finest_mm;
    let _ = writeln!(
        text,
        "  edges     up to {:.2} mm wide, fails from {:.2} mm (the finest that is seen is {:.3} mm)",
        mm(limits.rise_eye_limits.borderline),
        mm(limits.rise_eye_limits.fails),
        seen.finest_mm
    );
    let _ = writeln!(
        text,
        "  motion    up to {:.2} mm, fails from {:.2} mm",
        mm(limits.motion_eye_limits.borderline),
        mm(limits.motion_eye_limits.fails)
    );
    let _ = writeln!(
        text,
        "  noise     mid-tone signal-to-noise {} or more, fails below {}",
        limits.snr_midtone.borderline, limits.snr_midtone.fails
    );
    let _ = writeln!(
        text,
        "  blown     up to {} % of the picture or {} cm2 in one patch, fails from {} % or {} cm2",
        limits.blown_area_pct.borderline,
        limits.blown_patch_cm2.borderline,
        limits.blown_area_pct.fails,
        limits.blown_patch_cm2.fails
    );
    let _ = writeln!(
        text,
        "  blocked   up to {} % of the picture, fails from {} %",
        limits.blocked_area_pct.borderline, limits.blocked_area_pct.fails
    );
    let _ = writeln!(text, "  specular  blown spots up to {} mm across do not count", limits.specular_spot_mm);
    let _ = writeln!(
        text,
        "  banding   up to {} of the noise in the darkest tones, fails from {}",
        limits.banding_to_noise.borderline, limits.banding_to_noise.fails
    );
    let handling = &brief.handling;
    let _ = writeln!(
        text,
        "  by hand   1/({} x 35 mm equivalent) or faster; vibration from {} to {} s, from {} mm on",
        handling.shutter_rule,
        handling.vibration_fastest_s,
        handling.vibration_slowest_s,
        handling.vibration_focal35_mm
    );
    let needs: Vec<&str> = brief.needs.iter().map(|need| need.word()).collect();
    let _ = match needs.as_slice() {
        [] => writeln!(text, "  needs     nothing: a frame in which edges, motion or noise are unknown can pass"),
        needs => writeln!(text, "  needs     {} (without them a frame does not pass)", needs.join(", ")),
    };
    text
}
