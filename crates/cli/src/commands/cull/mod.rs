//! `rawassay cull`.

mod chosen;
mod companions;
mod deed;
mod output;
mod plan;
mod select;
mod sidecars;
mod transfer;
mod undo;

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use super::shared;
use crate::answer::Form;
use crate::messages::{self, Exit, Failure};
use crate::output::cause;
use chosen::{Act, Chosen, Found, Shared, find, stem_of};
use companions::Folders;
use deed::Deed;
use plan::{Way, check_targets, plan, unchanged};
use select::Selection;
use undo::{Step, UndoList};

/// List, tag or sort frames by their verdicts; raws are never changed or deleted
///
/// --sidecars writes an XMP file beside each raw with the outcome and our measures; what other programs wrote there
/// stays. --copy-to and --move-to take sidecars and camera JPEGs of the same name along, write over nothing, and note
/// each step in an undo list first.
#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("action").required(true).args(["list", "sidecars", "copy_to", "move_to", "undo"])))]
pub struct Cull {
    /// Records made by `audit`
    #[arg(required_unless_present = "undo", conflicts_with = "undo", value_name = "RECORD")]
    records: Vec<PathBuf>,
    /// List the frames
    #[arg(long)]
    list: bool,
    /// Write XMP sidecars beside the raws
    #[arg(long)]
    sidecars: bool,
    /// Copy the raws, with their sidecars and camera JPEGs, into this folder
    #[arg(long, value_name = "D")]
    copy_to: Option<PathBuf>,
    /// Move the raws, with their sidecars and camera JPEGs, into this folder
    #[arg(long, value_name = "D")]
    move_to: Option<PathBuf>,
    /// Undo the last run that this undo list holds
    #[arg(long, value_name = "LIST")]
    undo: Option<PathBuf>,
    #[command(flatten)]
    selection: Selection,
    #[command(flatten)]
    brief: shared::BriefArgument,
    /// With --sidecars: xmp:Rating 4 for prints, 2 for borderline, 1 for fails; a rating of yours stays
    #[arg(long, requires = "sidecars", conflicts_with_all = ["list", "copy_to", "move_to", "undo"])]
    rating: bool,
    /// With --sidecars: xmp:Label with the outcome; a label of yours stays
    #[arg(long, requires = "sidecars", conflicts_with_all = ["list", "copy_to", "move_to", "undo"])]
    label: bool,
    /// With --sidecars: xmp:Rating -1 (rejected) for frames that fail
    #[arg(long, requires = "sidecars", conflicts_with_all = ["list", "copy_to", "move_to", "undo"])]
    reject: bool,
    /// Where to note the steps (default: beside the record)
    #[arg(long, value_name = "FILE")]
    undo_list: Option<PathBuf>,
    /// Say what would be done, and do nothing
    #[arg(long)]
    dry_run: bool,
    /// Form of the answer
    #[arg(long, value_enum, default_value_t = Form::Table)]
    format: Form,
}

impl Cull {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        if let Some(list) = &self.undo {
            let undone = undo::undo(list, self.dry_run).map_err(Failure::nothing)?;
            let failed = undone.iter().any(|u| !u.ok);
            output::undone(&undone)?;
            return Ok(if failed { Exit::SomeUnmeasured } else { Exit::Done });
        }
        let brief = self.brief.find()?;
        let act = match (self.list, self.sidecars) {
            (true, _) => Act::List,
            (_, true) => Act::Sidecars,
            _ => Act::Transfer,
        };
        let Found { chosen, shared, frames } = find(&self.records, &brief, &self.selection, act)?;
        let deeds = match (&self.copy_to, &self.move_to) {
            _ if chosen.is_empty() => Vec::new(),
            (Some(folder), _) => self.transfer(Way::Copy, chosen, &shared, folder)?,
            (_, Some(folder)) => self.transfer(Way::Move, chosen, &shared, folder)?,
            _ if self.sidecars => self.write_sidecars(chosen, &shared, &brief.name)?,
            _ => chosen.into_iter().map(|chosen| Deed { done: Some("listed"), ..chosen.deed }).collect(),
        };
        let told = self.places(&deeds);
        output::deeds(&deeds, frames, &brief, self.format, self.list, &told)?;
        let failed: Vec<&Deed> = deeds.iter().filter(|d| d.done.is_none()).collect();
        for deed in &failed {
            messages::error(&format!("{}: {}", deed.file, deed.note.as_deref().unwrap_or("not done")));
        }
        Ok(match failed.len() {
            0 => Exit::Done,
            all if all == deeds.len() => Exit::Nothing,
            _ => Exit::SomeUnmeasured,
        })
    }

    /// Where the files went, or would go: lines for people.
    fn places(&self, deeds: &[Deed]) -> Vec<String> {
        let files: usize = deeds.iter().filter(|d| d.done.is_some()).map(|d| d.to.len()).sum();
        let raws = deeds.iter().filter(|d| d.done.is_some() && !d.to.is_empty()).count();
        if files == 0 {
            return Vec::new();
        }
        let (would, list) = (self.dry_run, self.undo_list_path());
        let mut told = Vec::new();
        if let Some(folder) = self.copy_to.as_ref().or(self.move_to.as_ref()) {
            let verb = match (would, self.copy_to.is_some()) {
                (false, true) => "copied",
                (false, false) => "moved",
                (true, true) => "would be copied",
                (true, false) => "would be moved",
            };
            told.push(format!(
                "{raws} {} and {} of {} sidecars and camera JPEGs {verb} to {}",
                if raws == 1 { "raw" } else { "raws" },
                files - raws,
                if raws == 1 { "its" } else { "their" },
                folder.display()
            ));
        } else {
            told.push(format!(
                "the sidecars {} beside the raws, with the extension .xmp",
                if would { "would stand" } else { "stand" }
            ));
        }
        told.push(if would {
            format!("undo list: would be {}; nothing was done (--dry-run)", list.display())
        } else {
            format!("undo list: {}; to undo: rawassay cull --undo {0}", list.display())
        });
        told
    }

    /// Opens the undo list: where told, else beside the first record.
    fn begin(&self, chosen: &[Chosen]) -> Result<Option<UndoList>, Failure> {
        let path = self.undo_list_path();
        let mut inputs = crate::answer::inputs(&self.records, &self.brief.text);
        inputs.extend(chosen.iter().map(|c| c.raw.clone()));
        crate::target::check_growing("--undo-list", &path, true, &inputs)?;
        if self.dry_run {
            return Ok(None);
        }
        UndoList::begin(&path).map(Some).map_err(Failure::nothing)
    }

    fn undo_list_path(&self) -> PathBuf {
        let beside = || {
            let record = self.records.first().map_or(Path::new("rawassay"), PathBuf::as_path);
            let mut name = record.file_stem().unwrap_or_default().to_os_string();
            name.push("-undo.ndjson");
            record.with_file_name(name)
        };
        self.undo_list.clone().unwrap_or_else(beside)
    }

    fn transfer(&self, way: Way, chosen: Vec<Chosen>, shared: &Shared, folder: &Path) -> Result<Vec<Deed>, Failure> {
        if self.selection.is_everything() {
            return Err(Failure::usage(
                "say which frames to copy or move, with --outcome, --finding, --largest-at-least or --frame",
            ));
        }
        let mut folders = Folders::default();
        let mut deeds: Vec<Deed> = Vec::with_capacity(chosen.len());
        let mut plans: Vec<(usize, Vec<(PathBuf, PathBuf)>)> = Vec::new();
        let names: HashSet<&Path> = chosen.iter().map(|c| c.raw.as_path()).collect();
        for frame in &chosen {
            let deed = frame.deed.clone();
            match plan(way, frame, folder, &mut folders, shared, &names) {
                Ok(files) => {
                    plans.push((deeds.len(), files));
                    deeds.push(deed);
                }
                Err(what) => deeds.push(deed.failed(what)),
            }
        }
        check_targets(&plans, folder)?;
        let word = match (way, self.dry_run) {
            (Way::Copy, false) => "copied",
            (Way::Move, false) => "moved",
            (Way::Copy, true) => "would be copied",
            (Way::Move, true) => "would be moved",
        };
        let mut list = if plans.is_empty() { None } else { self.begin(&chosen)? };
        if list.is_some() {
            std::fs::create_dir_all(folder).map_err(|e| {
                Failure::nothing(format!(
                    "{}: the folder cannot be made ({}); name another",
                    folder.display(),
                    cause(&e)
                ))
            })?;
        }
        for (index, files) in plans {
            for (place, (from, to)) in files.into_iter().enumerate() {
                let result = match &mut list {
                    None => Ok(()),
                    Some(list) => take(way, list, &from, &to)?,
                };
                let deed = &mut deeds[index];
                match result {
                    Ok(()) if deed.note.is_none() => {
                        deed.to.push(to);
                        deed.done = Some(word);
                    }
                    Ok(()) => deed.to.push(to),
                    Err(what) => {
                        // The raw goes first: where it stays, so do its companions.
                        let name = from.file_name().unwrap_or_default().to_string_lossy().into_owned();
                        deed.done = None;
                        deed.note = Some(if place == 0 { what } else { format!("{name} {what}") });
                        break;
                    }
                }
            }
        }
        Ok(deeds)
    }

    fn write_sidecars(&self, chosen: Vec<Chosen>, shared: &Shared, brief: &str) -> Result<Vec<Deed>, Failure> {
        let mut list = self.begin(&chosen)?;
        let mut folders = Folders::default();
        let wish = sidecars::Wish { rating: self.rating, label: self.label, reject: self.reject };
        let mut deeds = Vec::with_capacity(chosen.len());
        let word = if self.dry_run { "sidecar would be written" } else { "sidecar written" };
        for frame in chosen {
            let raw = &frame.raw;
            let deed = frame.deed.clone();
            if let Err(what) = unchanged(&frame) {
                deeds.push(deed.failed(what));
                continue;
            }
            if let Some(other) = shared.get(&stem_of(raw)).and_then(|files| files.iter().find(|f| *f != raw)) {
                deeds.push(deed.failed(format!("shares its sidecar with {}; left alone", other.display())));
                continue;
            }
            let path = folders.sidecar(raw);
            deeds.push(match sidecars::write(&path, &frame, brief, &wish, list.as_mut())? {
                Ok(note) => Deed { done: Some(word), to: vec![path], note, ..deed },
                Err(what) => deed.failed(what),
            });
        }
        Ok(deeds)
    }
}

/// One step: noted, then taken. The outer error ends the command: without the undo list nothing goes on.
fn take(way: Way, list: &mut UndoList, from: &Path, to: &Path) -> Result<Result<(), String>, Failure> {
    let absolute = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    let (from_absolute, to_absolute) = (absolute(from), absolute(to));
    let step = match way {
        Way::Copy => Step::Copy { from: from_absolute, to: to_absolute },
        Way::Move => Step::Move { from: from_absolute, to: to_absolute },
    };
    list.push(&step).map_err(Failure::nothing)?;
    Ok(match way {
        Way::Copy => transfer::copy(from, to),
        Way::Move => transfer::relocate(from, to),
    })
}
