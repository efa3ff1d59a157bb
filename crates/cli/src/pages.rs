//! Pages of a record: judges every frame, draws what is new from the raw files, writes the folder.

use std::collections::HashSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use rawassay_analysis::brief::{Brief, Limit, OutputKind};
use rawassay_analysis::enlarge::{self, Distance, PaperSize};
use rawassay_analysis::judge::{Judgement, judge};
use rawassay_analysis::series::{By, Series, ShutterOptions, series};
use rawassay_analysis::sets::{Sets, sets};
use rawassay_analysis::{FrameView, print};
use rawassay_report::page::{self, Drawn, Folder, Purpose, Sheet, Shoot, Sizes, draw};
use rawassay_report::plot::wall::Hanging;
use rawassay_report::record::path_of_uri;
use rawassay_report::{Record, ReportError, Scorecard, Status};
use rayon::prelude::*;

use crate::identity;
use crate::messages::Failure;

/// What to write.
pub struct Request<'a> {
    /// The record, named on the pages; raw files given by a relative path are looked for beside it too.
    pub record: &'a Path,
    /// The folder to write.
    pub out: &'a Path,
    /// The brief.
    pub brief: &'a Brief,
    /// Most frames that are decoded at once; fewer where memory is short. `None`: one per core.
    pub jobs: Option<usize>,
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
pub fn write(
    request: &Request<'_>,
    records: Vec<Record>,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Written, Failure> {
    let folder = Folder::create(request.out).map_err(|e| cannot_write(request.out, &e))?;
    let judgements: Vec<Judgement> = records.iter().map(|r| judge(&r.subject(), request.brief, None)).collect();
    let (series, sets) = together(&records, &judgements, request.brief);
    let sheets = records.into_iter().zip(&judgements).map(|(record, j)| sheet(record, j, request.brief)).collect();
    let title = title(request.record);
    let mut shoot = Shoot::new(title, purpose(request.brief), sheets);
    (shoot.series, shoot.sets) = (series, Some(sets));

    let sizes = Sizes::for_frames(shoot.sheets.len());
    let jobs = request.jobs.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from));
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(jobs.min(frames_in_memory(&shoot.sheets)).max(1))
        .build()
        .map_err(|e| Failure::nothing(format!("cannot start threads for drawing ({e}); try --jobs 1")))?;
    let (done, fresh, changed) = (AtomicUsize::new(0), AtomicUsize::new(0), AtomicUsize::new(0));
    let result: Result<(), ReportError> = pool.install(|| {
        shoot.sheets.par_iter_mut().try_for_each(|sheet| {
            if pictures(&folder, request.record, sheet, sizes, &changed)? {
                fresh.fetch_add(1, Ordering::Relaxed);
            }
            progress(done.fetch_add(1, Ordering::Relaxed) + 1);
            Ok(())
        })
    });
    result.map_err(|e| cannot_write(request.out, &e))?;

    let pages: Result<(), ReportError> = pool.install(|| {
        (0..shoot.sheets.len()).into_par_iter().try_for_each(|n| {
            let name = format!("frames/{}.html", shoot.sheets[n].id);
            count(&changed, folder.write(&name, page::frame::page(&shoot, n).as_bytes())?);
            Ok(())
        })
    });
    pages.map_err(|e| cannot_write(request.out, &e))?;
    if shoot.has_series() {
        let text = page::series::page(&shoot);
        count(&changed, folder.write("series.html", text.as_bytes()).map_err(|e| cannot_write(request.out, &e))?);
    }
    if shoot.has_sets() {
        let text = page::sets::page(&shoot);
        count(&changed, folder.write("sets.html", text.as_bytes()).map_err(|e| cannot_write(request.out, &e))?);
    }
    // The overview is last: until it stands, a reader sees the old one with pages that still exist.
    for (name, text) in [
        ("rawassay.css", page::folder::STYLESHEET.to_owned()),
        ("rawassay.js", page::folder::SCRIPT.to_owned()),
        ("words.html", page::words::page(&shoot)),
        ("index.html", page::overview::page(&shoot)),
    ] {
        count(&changed, folder.write(name, text.as_bytes()).map_err(|e| cannot_write(request.out, &e))?);
    }
    let keep: HashSet<String> = shoot.sheets.iter().map(|s| s.id.clone()).collect();
    folder.sweep(&keep).map_err(|e| cannot_write(request.out, &e))?;
    Ok(Written {
        frames: shoot.sheets.len(),
        drawn: fresh.into_inner(),
        without_picture: shoot.sheets.iter().filter(|s| s.drawn.is_none()).count(),
        changed: changed.into_inner(),
        index: folder.path("index.html"),
    })
}

/// What the shoot is called: the folder in which its record lies.
fn title(record: &Path) -> String {
    let absolute = std::path::absolute(record).unwrap_or_else(|_| record.to_path_buf());
    let folder = absolute.parent().and_then(Path::file_name).or(absolute.file_name());
    folder.map_or_else(|| "shoot".into(), |n| n.to_string_lossy().into_owned())
}

fn count(changed: &AtomicUsize, written: bool) {
    changed.fetch_add(usize::from(written), Ordering::Relaxed);
}

fn cannot_write(out: &Path, error: &ReportError) -> Failure {
    Failure::nothing(format!("{error}; check space and permissions of {}, or give another --out", out.display()))
}

/// What the frames say together: series along each setting, bursts and brackets.
fn together(records: &[Record], judgements: &[Judgement], brief: &Brief) -> (Vec<Series>, Sets) {
    let views: Vec<FrameView<'_>> = records
        .iter()
        .zip(judgements)
        .filter_map(|(record, judgement)| {
            Some(FrameView {
                file: &record.file,
                shot: record.shot.as_ref()?,
                measures: record.measures.as_ref()?,
                judgement,
                damaged: record.status == Status::Damaged,
            })
        })
        .collect();
    let name = format!("{} ({})", brief.name, brief.size_text());
    let shutter = ShutterOptions {
        shake_limit_mm: Some(brief.limits.motion_eye_limits.borderline * print::seen(&brief.output).finest_mm),
        ..ShutterOptions::default()
    };
    let all = [By::Iso, By::Aperture, By::Shutter, By::Camera];
    (all.into_iter().map(|by| series(by, &views, &name, &shutter)).collect(), sets(&views))
}

/// A frame judged by the brief, with its ladder of print sizes.
fn sheet(record: Record, judgement: &Judgement, brief: &Brief) -> Sheet {
    let card = Scorecard::new(&record, judgement);
    let mut sizes = Vec::new();
    if record.status != Status::Unreadable {
        let asked =
            PaperSize { name: brief.size_text(), width_mm: brief.output.width_mm, height_mm: brief.output.height_mm };
        let mut papers = enlarge::usual_sizes();
        papers.push(asked);
        let ladder = enlarge::ladder(&record.subject(), brief, None, None, Distance::Brief, &papers);
        sizes = ladder
            .rungs
            .into_iter()
            .map(|rung| Hanging {
                width_cm: rung.width_in * 2.54,
                height_cm: rung.height_in * 2.54,
                ppi: rung.ppi,
                outcome: rung.outcome,
                limited_by: rung.limited_by,
            })
            .collect();
        sizes.sort_by(|a: &Hanging, b| a.width_cm.total_cmp(&b.width_cm));
        sizes.dedup_by(|a, b| (a.width_cm - b.width_cm).abs() < 0.5);
    }
    Sheet::new(record, card, sizes)
}

/// The brief in the words of the pages.
fn purpose(brief: &Brief) -> Purpose {
    let finest_mm = print::seen(&brief.output).finest_mm;
    let on_paper = |limit: Limit| (limit.borderline * finest_mm, limit.fails * finest_mm);
    let (w, h) = (brief.output.width_mm / 10.0, brief.output.height_mm / 10.0);
    Purpose {
        name: brief.name.clone(),
        size: brief.size_text(),
        distance: brief.distance_text(),
        sides_cm: (w.max(h), w.min(h)),
        screen: brief.output.kind == OutputKind::Screen,
        rise_limit_mm: on_paper(brief.limits.rise_eye_limits),
        snr_limit: (brief.limits.snr_midtone.borderline, brief.limits.snr_midtone.fails),
    }
}

/// Draws a frame where the folder does not hold its pictures already. True where it was drawn now.
fn pictures(
    folder: &Folder,
    record: &Path,
    sheet: &mut Sheet,
    sizes: Sizes,
    changed: &AtomicUsize,
) -> Result<bool, ReportError> {
    if sheet.record.measures.is_none() {
        sheet.no_picture = Some("the file could not be read".into());
        return Ok(false);
    }
    let note = format!("drawn/{}.json", sheet.id);
    let known = std::fs::read(folder.path(&note)).ok().and_then(|b| serde_json::from_slice::<Drawn>(&b).ok());
    let wanted = draw::key(&sheet.record, sizes);
    if let Some(drawn) =
        known.filter(|d| d.key == wanted && d.files(&sheet.id).iter().all(|f| folder.path(f).is_file()))
    {
        sheet.drawn = Some(drawn);
        return Ok(false);
    }
    match drawn_now(record, &sheet.record, sizes) {
        Err(why) => {
            sheet.no_picture = Some(why);
            Ok(false)
        }
        Ok((drawn, files)) => {
            for (suffix, bytes) in files {
                count(changed, folder.write(&format!("pictures/{}{suffix}", sheet.id), &bytes)?);
            }
            // The note is last: a run that is cut short draws the frame again.
            let bytes = serde_json::to_vec(&drawn).map_err(ReportError::from)?;
            folder.write(&note, &bytes)?;
            sheet.drawn = Some(drawn);
            Ok(true)
        }
    }
}

/// Opens the raw file and draws; the error is the reason that the page gives.
fn drawn_now(record: &Path, frame: &Record, sizes: Sizes) -> Result<(Drawn, Vec<draw::PictureFile>), String> {
    let path = raw_file(record, frame).ok_or("the raw file is no longer at its place")?;
    let read = |e: std::io::Error| format!("the raw file cannot be read ({e})");
    let now = identity::identify(&path).map_err(read)?;
    if now.size != frame.file_id.size || (!frame.file_id.hash.is_empty() && now.hash != frame.file_id.hash) {
        return Err("the raw file has changed since it was measured; audit it again".into());
    }
    let bytes = std::fs::read(&path).map_err(read)?;
    // Readers of raw files may panic; the frame then has no pictures, and the others go on.
    let work = || {
        let preview = rawassay_decode::preview(&bytes);
        let decoded = rawassay_decode::open_bytes(&path, bytes).map_err(|e| format!("the raw file {e}"))?;
        draw::draw(&decoded, preview.as_ref(), frame, sizes)
            .ok_or_else(|| "the record does not fit the raw file; audit it again".to_owned())
    };
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| Err("the raw file could not be drawn".into()))
}

/// Where the raw file is: at the recorded place, as given, or beside the record.
fn raw_file(record: &Path, frame: &Record) -> Option<PathBuf> {
    let recorded = frame.uri.as_deref().and_then(path_of_uri);
    let given = PathBuf::from(&frame.file);
    let beside = record.parent().map(|folder| folder.join(&given));
    [recorded, Some(given), beside].into_iter().flatten().find(|p| p.is_file())
}

/// How many frames may be in memory at once: samples, file, previews and pictures of the largest take about 8 bytes per
/// pixel and the file twice; half of the memory that is free may be used.
fn frames_in_memory(sheets: &[Sheet]) -> usize {
    let largest = sheets
        .iter()
        .filter_map(|s| {
            let shot = s.record.shot.as_ref()?;
            Some((shot.width_px * shot.height_px) as u64 * 8 + 2 * s.record.file_id.size)
        })
        .max()
        .unwrap_or(1)
        .max(1);
    let free = free_bytes().unwrap_or(4 << 30);
    usize::try_from(free / 2 / largest).unwrap_or(1).max(1)
}

/// Memory that is free, where the system tells.
fn free_bytes() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/meminfo").ok()?;
    let line = text.lines().find(|l| l.starts_with("MemAvailable:"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kib| kib * 1024)
}
