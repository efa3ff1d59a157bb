//! Pages of a record: judges every frame, draws what is new from the raw files, writes the folder.

use std::collections::HashSet;
use std::path::{Component, Path, PathBuf};
use std::time::Duration;

use rawassay_analysis::brief::{Brief, Limit};
use rawassay_analysis::crop::Crop;
use rawassay_analysis::enlarge::{self, Distance, PaperSize};
use rawassay_analysis::judge::{Judgement, judge};
use rawassay_analysis::series::{By, Held, Series, series};
use rawassay_analysis::sets::{Sets, sets};
use rawassay_analysis::{FrameRow, RowMaker, print, without_copies};
use rawassay_report::page::{self, Drawn, Folder, Purpose, Sheet, Shoot, Sizes, draw};
use rawassay_report::plot::wall::Hanging;
use rawassay_report::record::{key_of_path, path_of_uri};
use rawassay_report::{Record, ReportError, Scorecard, Status};
use rayon::prelude::*;

use crate::identity;
use crate::messages::Failure;
use crate::output::plain_cause;
use crate::runner::worker::{Draw, Drawing};
use crate::runner::{Limits, drawing};

/// What to write.
pub struct Request<'a> {
    /// The record, named on the pages; raw files given by a relative path are looked for beside it too.
    pub record: &'a Path,
    /// The folder to write.
    pub out: &'a Path,
    /// The brief.
    pub brief: &'a Brief,
    /// The part of each frame that is judged, in its pixels as stored; `None` for the whole.
    pub crop: Option<Crop>,
    /// Most frames that are decoded at once; fewer where memory is short. `None`: one per core.
    pub jobs: Option<usize>,
    /// Longest time for one frame.
    pub timeout: Option<Duration>,
    /// Memory for one frame, bytes.
    pub memory: Option<u64>,
}

/// What was written.
pub struct Written {
    /// Frames with pages.
    pub frames: usize,
    /// Frames drawn from their raw files now; the rest was up to date or could not be drawn.
    pub drawn: usize,
    /// Frames without pictures.
    pub without_picture: usize,
    /// Pages and pictures that changed.
    pub changed: usize,
    /// The page to open.
    pub index: PathBuf,
}

/// Writes or refreshes the folder. `progress` is called with the frames done so far.
pub fn write(request: &Request<'_>, records: Vec<Record>, progress: &dyn Fn(usize)) -> Result<Written, Failure> {
    let folder = Folder::create(request.out).map_err(|e| cannot_write(request.out, &e))?;
    let judgements: Vec<Judgement> = records
        .iter()
        .map(|r| judge(&r.subject(), request.brief, request.crop.and_then(|crop| crop.of(r.shot.as_ref()))))
        .collect();
    let (series, sets) = together(&records, &judgements, request.brief);
    let title = title(&records, request.record);
    let sheets = records.into_iter().zip(&judgements).map(|(record, j)| sheet(record, j, request)).collect();
    let mut shoot = Shoot::new(title, purpose(request), sheets);
    (shoot.series, shoot.sets) = (series, Some(sets));

    let sizes = Sizes::for_frames(shoot.sheets.len());
    let mut tally = Tally::default();
    let mut wanted = Vec::new();
    for (number, sheet) in shoot.sheets.iter_mut().enumerate() {
        match pictures(&folder, request.record, sheet, sizes) {
            Some(path) => wanted.push(drawing::Job {
                number,
                path,
                bytes: sheet.record.file_id.size,
                draw: Draw {
                    record: sheet.record.clone(),
                    sizes,
                    folder: key_of_path(request.out),
                    id: sheet.id.clone(),
                },
            }),
            None => tally.done += 1,
        }
    }
    progress(tally.done);
    let limits = Limits::new(wanted.len(), request.jobs, request.timeout, request.memory);
    let total = shoot.sheets.len();
    drawing::run(wanted, &limits, |number, drawing| {
        drawn(&folder, &mut shoot.sheets[number], drawing, &mut tally).map_err(|e| cannot_write(request.out, &e))?;
        tally.done += 1;
        progress(tally.done);
        Ok(())
    })?;
    if tally.done < total {
        return Err(Failure::nothing("stopped; the pictures drawn so far are kept, run the same command to go on"));
    }
    let pages: Result<Vec<bool>, ReportError> = (0..total)
        .into_par_iter()
        .map(|n| folder.write(&format!("frames/{}.html", shoot.sheets[n].id), page::frame::page(&shoot, n).as_bytes()))
        .collect();
    let pages = pages.map_err(|e| cannot_write(request.out, &e))?;
    tally.changed += pages.into_iter().filter(|written| *written).count();
    let mut write = |name: &str, text: &str| -> Result<(), Failure> {
        tally.changed += usize::from(folder.write(name, text.as_bytes()).map_err(|e| cannot_write(request.out, &e))?);
        Ok(())
    };
    if shoot.has_series() {
        write("series.html", &page::series::page(&shoot))?;
    }
    if shoot.has_sets() {
        write("sets.html", &page::sets::page(&shoot))?;
    }
    // The overview is last: until it stands, a reader sees the old one with pages that still exist.
    for (name, text) in [
        ("rawassay.css", page::folder::STYLESHEET.to_owned()),
        ("rawassay.js", page::folder::SCRIPT.to_owned()),
        ("words.html", page::words::page(&shoot)),
        ("index.html", page::overview::page(&shoot)),
    ] {
        write(name, &text)?;
    }
    let keep: HashSet<String> = shoot.sheets.iter().map(|s| s.id.clone()).collect();
    folder.sweep(&keep).map_err(|e| cannot_write(request.out, &e))?;
    Ok(Written {
        frames: shoot.sheets.len(),
        drawn: tally.drawn,
        without_picture: shoot.sheets.iter().filter(|s| s.drawn.is_none()).count(),
        changed: tally.changed,
        index: folder.path("index.html"),
    })
}

/// What the shoot is called: the folder of its record where that holds all its frames, else the folder that does.
fn title(records: &[Record], record: &Path) -> String {
    let absolute = std::path::absolute(record).unwrap_or_else(|_| record.to_path_buf());
    let own = absolute.parent();
    let mut folders = records.iter().filter_map(|r| Some(path_of_uri(r.key())?.parent()?.to_path_buf()));
    let first = folders.next();
    let shared = first.and_then(|first| {
        folders.try_fold(first, |shared, folder| {
            shared.ancestors().find(|ancestor| folder.starts_with(ancestor)).map(Path::to_path_buf)
        })
    });
    let resolved = own.and_then(|own| own.canonicalize().ok());
    let within = |shared: &Path| [own, resolved.as_deref()].into_iter().flatten().any(|own| shared.starts_with(own));
    // A shoot's raw files often lie in a folder within it (RAW, a card's DCIM): the shoot has the better name.
    let order = match shared.as_deref() {
        Some(shared) if !within(shared) => [Some(shared), own],
        shared => [own, shared],
    };
    let named = order.into_iter().flatten().find(|folder| !holds_disks_or_homes(folder)).or(own);
    let name = named.and_then(Path::file_name).or(absolute.file_name());
    name.map_or_else(|| "shoot".into(), |n| n.to_string_lossy().into_owned())
}

/// True for the folders in which systems hang disks and homes, for a home itself, and for what lies above: frames that
/// share no more than such a place lie apart, and its name says nothing of them.
fn holds_disks_or_homes(folder: &Path) -> bool {
    // With how many folders of any name below them: disks are hung by user.
    const PLACES: [(&[&str], usize); 6] =
        [(&["mnt"], 0), (&["media"], 1), (&["run", "media"], 1), (&["Volumes"], 0), (&["home"], 1), (&["Users"], 1)];
    let names: Vec<_> = folder
        .components()
        .filter_map(|part| match part {
            Component::Normal(name) => Some(name),
            _ => None,
        })
        .collect();
    PLACES.iter().any(|(place, below)| {
        names.len() <= place.len() + below && names.iter().zip(*place).all(|(name, of_place)| *name == *of_place)
    })
}

/// Counts of a run.
#[derive(Default)]
struct Tally {
    /// Frames that have their pictures, or are known to have none.
    done: usize,
    /// Frames drawn now.
    drawn: usize,
    /// Files that changed.
    changed: usize,
}

fn cannot_write(out: &Path, error: &ReportError) -> Failure {
    // In the words of every other command: the place, the cause, what to do.
    let (place, cause) = match error {
        ReportError::Io { path, source } => (path.as_path(), plain_cause(source)),
        ReportError::Write(source) => (out, plain_cause(source)),
        other => (out, other.to_string()),
    };
    let or = if cause.contains(';') { ", or" } else { ";" };
    Failure::nothing(format!("cannot write {}: {cause}{or} give another --out", place.display()))
}

/// What the frames say together: series along each setting, bursts and brackets.
fn together(records: &[Record], judgements: &[Judgement], brief: &Brief) -> (Vec<Series>, Sets) {
    let mut maker = RowMaker::default();
    let rows: Vec<FrameRow> = records
        .iter()
        .zip(judgements)
        .filter_map(|(record, judgement)| {
            let (shot, measures) = (record.shot.as_ref()?, record.measures.as_ref()?);
            let row = maker.row(&record.file, shot, measures, judgement, record.status == Status::Damaged);
            Some(row.identified(&record.file_id.hash))
        })
        .collect();
    let (rows, copies) = without_copies(rows);
    let name = brief.title();
    let held = Held { brief, name: &name, keeper_share: 0.9 };
    let all = [By::Iso, By::Aperture, By::Shutter, By::Camera];
    let mut sets = sets(&rows);
    sets.warnings.extend(copies);
    (all.into_iter().map(|by| series(by, &rows, &held)).collect(), sets)
}

/// A frame judged by the brief, with its ladder of print sizes.
fn sheet(record: Record, judgement: &Judgement, request: &Request<'_>) -> Sheet {
    let brief = request.brief;
    let card = Scorecard::new(&record, judgement);
    let crop = request.crop.and_then(|crop| crop.of(record.shot.as_ref()));
    let mut sizes = Vec::new();
    if record.status != Status::Unreadable {
        let asked =
            PaperSize { name: brief.size_text(), width_mm: brief.output.width_mm, height_mm: brief.output.height_mm };
        let mut papers = enlarge::usual_of(&brief.output);
        papers.push(asked);
        let ladder = enlarge::ladder(&record.subject(), brief, crop, None, Distance::Brief, &papers);
        sizes = ladder
            .rungs
            .into_iter()
            .map(|rung| Hanging {
                width_cm: rung.width_in * 2.54,
                height_cm: rung.height_in * 2.54,
                ppi: rung.ppi,
                outcome: rung.outcome,
                limited_by: rung.limited_by,
                asked: rung.paper == brief.size_text(),
            })
            .collect();
        sizes.sort_by(|a: &Hanging, b| a.width_cm.total_cmp(&b.width_cm));
        // Of two sizes that are as good as one, the brief's own stands.
        sizes.dedup_by(|later, kept| {
            let same = (later.width_cm - kept.width_cm).abs() < 0.5;
            kept.asked |= same && later.asked;
            same
        });
    }
    let mut sheet = Sheet::new(record, card, sizes);
    sheet.crop = crop.filter(|crop| {
        let size = sheet.card.shot.as_ref().map(|s| (s.width_px, s.height_px));
        size.is_some_and(|(w, h)| rawassay_analysis::crop::inside(crop, w, h))
    });
    sheet
}

/// The brief in the words of the pages.
fn purpose(request: &Request<'_>) -> Purpose {
    let brief = request.brief;
    let finest_mm = print::seen(&brief.output).finest_mm;
    let on_paper = |limit: Limit| (limit.borderline * finest_mm, limit.fails * finest_mm);
    let (w, h) = (brief.output.width_mm / 10.0, brief.output.height_mm / 10.0);
    Purpose {
        name: brief.name.clone(),
        size: brief.size_text(),
        distance: brief.distance_text(),
        size_cm: (w, h),
        crop: request.crop.map(|crop| crop.text()),
        unit: brief.output.picture_unit(),
        rise_limit_mm: on_paper(brief.limits.rise_eye_limits),
        snr_limit: (brief.limits.snr_midtone.borderline, brief.limits.snr_midtone.fails),
    }
}

/// The raw file of a frame that must be drawn anew. `None` where the folder holds its pictures already, or where it can
/// have none; the sheet then says so.
fn pictures(folder: &Folder, record: &Path, sheet: &mut Sheet, sizes: Sizes) -> Option<PathBuf> {
    if sheet.record.measures.is_none() {
        sheet.no_picture = Some("the file could not be read".into());
        return None;
    }
    let known = std::fs::read(folder.path(&note(&sheet.id))).ok();
    let known = known.and_then(|b| serde_json::from_slice::<Drawn>(&b).ok());
    let wanted = draw::key(&sheet.record, sizes);
    if let Some(drawn) =
        known.filter(|d| d.key == wanted && d.files(&sheet.id).iter().all(|f| folder.path(f).is_file()))
    {
        sheet.drawn = Some(drawn);
        return None;
    }
    match the_same_file(record, &sheet.record) {
        Ok(path) => Some(path),
        Err(why) => {
            sheet.no_picture = Some(why);
            None
        }
    }
}

/// Where the folder keeps what is known of a frame's pictures.
fn note(id: &str) -> String {
    format!("drawn/{id}.json")
}

/// Takes in what came of a drawing.
fn drawn(folder: &Folder, sheet: &mut Sheet, drawing: Drawing, tally: &mut Tally) -> Result<(), ReportError> {
    match drawing {
        Drawing::NoPicture(why) => sheet.no_picture = Some(why),
        // From another process: its cause is a text by now.
        Drawing::NoRoom(why) => return Err(ReportError::from(std::io::Error::other(why))),
        Drawing::Done { drawn, changed } => {
            // The note is last: a run that is cut short draws the frame again.
            folder.write(&note(&sheet.id), &serde_json::to_vec(&drawn).map_err(ReportError::from)?)?;
            sheet.drawn = Some(*drawn);
            tally.drawn += 1;
            tally.changed += changed;
        }
    }
    Ok(())
}

/// The raw file, still the one that was measured; the error is the reason that the page gives.
fn the_same_file(record: &Path, frame: &Record) -> Result<PathBuf, String> {
    let path = raw_file(record, frame).ok_or("the raw file is no longer at its place")?;
    let now = identity::identify(&path).map_err(|e| format!("the raw file cannot be read ({e})"))?;
    if now.size != frame.file_id.size || (!frame.file_id.hash.is_empty() && now.hash != frame.file_id.hash) {
        return Err("the raw file has changed since it was measured; audit it again".into());
    }
    Ok(path)
}

/// Where the raw file is: at the recorded place, as given, or beside the record.
fn raw_file(record: &Path, frame: &Record) -> Option<PathBuf> {
    let recorded = frame.uri.as_deref().and_then(path_of_uri);
    let given = PathBuf::from(&frame.file);
    let beside = record.parent().map(|folder| folder.join(&given));
    [recorded, Some(given), beside].into_iter().flatten().find(|p| p.is_file())
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use rawassay_report::FileId;

    #[test]
    fn the_shoot_is_named_after_its_folder() {
        let named = |record: &str, frames: &[&str]| {
            let records: Vec<Record> = frames
                .iter()
                .map(|frame| {
                    let mut of_frame = Record::unreadable(Path::new(frame), FileId::default(), "is empty");
                    of_frame.uri = Some(format!("file://{frame}"));
                    of_frame
                })
                .collect();
            title(&records, Path::new(record))
        };
        // The record lies in the shoot, its raw files in it or below.
        let record = "/data/wedding/rawassay.ndjson";
        assert_eq!(named(record, &["/data/wedding/a.dng"]), "wedding");
        assert_eq!(named(record, &["/data/wedding/RAW/a.dng", "/data/wedding/RAW/b.dng"]), "wedding");
        assert_eq!(named(record, &["/data/wedding/one/a.dng", "/data/wedding/two/a.dng"]), "wedding");
        // It lies elsewhere.
        let frames = ["/data/wedding/one/a.dng", "/data/wedding/two/a.dng"];
        assert_eq!(named("/data/records/w.ndjson", &frames), "wedding");
        assert_eq!(named("/home/ann/w.ndjson", &["/home/ann/wedding/a.dng"]), "wedding");
        // Frames that share only the place where disks or homes hang, or nothing.
        for apart in [
            ["/mnt/one/a.dng", "/mnt/two/a.dng"],
            ["/media/ann/one/a.dng", "/media/ann/two/a.dng"],
            ["/run/media/ann/one/a.dng", "/run/media/ann/two/a.dng"],
            ["/Volumes/one/a.dng", "/Volumes/two/a.dng"],
            ["/home/ann/a.dng", "/home/ben/a.dng"],
            ["/mnt/one/a.dng", "/home/ann/a.dng"],
        ] {
            assert_eq!(named("/data/wedding/w.ndjson", &apart), "wedding", "{apart:?}");
        }
        assert_eq!(named("/data/wedding/w.ndjson", &[]), "wedding");
        assert_eq!(named("/w.ndjson", &[]), "w.ndjson");
        assert_eq!(named("/data/records/w.ndjson", &["/mnt/wedding/a.dng"]), "wedding");
    }
}
