//! The demonstration: one simulated morning at the invented harbour of Vellmouth, with four invented cameras.
//!
//! Every exposure follows from one light (EV 10 at ISO 100 before sunrise), so shutter, aperture, ISO and brightness
//! agree; what went wrong with a frame is in its recipe.

mod bodies;

use std::path::{Path, PathBuf};

use bodies::Body;
use rayon::prelude::*;

use crate::{Banding, Compression, Diffraction, Motion, Optics, Raw, Recipe, SceneKind, ShotData, expose, light};

/// One frame of the shoot.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// File name.
    pub name: String,
    /// What happened, for the truth file.
    pub story: String,
    /// How it is made.
    pub recipe: Recipe,
    /// Share of the file that reached the card, 1 for all of it.
    pub kept: f64,
}

/// Exposure value of the harbour's light at ISO 100.
const EV100: f64 = 10.0;

/// The settings of one exposure.
struct Settings {
    body: Body,
    focal_mm: f64,
    iso: f64,
    f_number: f64,
    shutter_s: f64,
    /// Seconds after five in the morning.
    at_s: f64,
    view: u64,
}

fn take(name: &str, story: &str, settings: &Settings, optics: Optics) -> Take {
    let s = settings;
    let camera = s.body.camera();
    let (width, height) = s.body.size();
    // Brightness against a metered exposure; white then lies 1.1 EV below saturation: exposed to keep the sun.
    let ev = (s.shutter_s / (s.f_number * s.f_number) * s.iso / 100.0).log2() + EV100;
    let diffraction = Diffraction { f_number: s.f_number, pitch_um: camera.pitch_um, wavelength_um: 0.55 };
    let (hours, rest) = ((s.at_s / 3600.0).floor(), s.at_s % 3600.0);
    let taken_at =
        format!("2031:05:14 {:02}:{:02}:{:02}", 5 + hours as u32, (rest / 60.0) as u32, (rest % 60.0) as u32);
    let shot = ShotData {
        lens: s.body.lens(s.focal_mm),
        shutter_s: s.shutter_s,
        f_number: s.f_number,
        focal_mm: s.focal_mm,
        exposure_bias_ev: 0.0,
        taken_at,
        sub_seconds: format!("{:03}", ((s.at_s.fract() * 1000.0).round() as u32).min(999)),
        offset: "+02:00".into(),
        orientation: 1,
        description: format!("Simulated frame, harbour of Vellmouth (invented): {story}"),
    };
    let mut recipe = Recipe::new(SceneKind::Harbour)
        .size(width, height)
        .optics(Optics { diffraction: Some(diffraction), ..optics })
        .camera(camera)
        .exposure(s.iso, ev - 1.1)
        .seeds(s.view, (s.at_s * 1000.0) as u64);
    recipe.shot = shot;
    // Two cells a pixel: what the lens and the filter's glass leave beyond one cycle per pixel cannot be seen.
    recipe.oversampling = 2;
    Take { name: name.into(), story: story.into(), recipe, kept: 1.0 }
}

/// The frames of the shoot in the order they were taken.
#[must_use]
pub fn shoot() -> Vec<Take> {
    let mut takes = Vec::new();
    tripod_frames(&mut takes);
    test_series(&mut takes);
    tele_frames(&mut takes);
    hand_held_frames(&mut takes);
    other_cameras(&mut takes);
    takes.sort_by(|a, b| {
        (&a.recipe.shot.taken_at, &a.recipe.shot.sub_seconds)
            .cmp(&(&b.recipe.shot.taken_at, &b.recipe.shot.sub_seconds))
    });
    takes
}

fn straight(length_px: f64, direction_deg: f64) -> Motion {
    Motion::Straight { length_px, direction_deg }
}

/// The large camera on its tripod at the first view: metered for f/8 and 1/15 s at ISO 100.
fn on_tripod(at_s: f64, iso: f64, f_number: f64, shutter_s: f64) -> Settings {
    Settings { body: Body::Norvane, focal_mm: 50.0, iso, f_number, shutter_s, at_s, view: 1 }
}

/// Glass at its best: aberrations and the filter in front of the sensor, Gaussian, px.
fn glass() -> Optics {
    Optics::gaussian(0.42)
}

fn tripod_frames(takes: &mut Vec<Take>) {
    let metered = |at_s: f64, shutter_s: f64| on_tripod(at_s, 100.0, 8.0, shutter_s);
    takes.push(take("NV6_0101.dng", "tripod, base ISO, focus checked", &metered(760.2, 1.0 / 15.0), glass()));
    for (i, (shutter_s, bias)) in [(1.0 / 15.0, 0.0), (1.0 / 125.0, -3.0), (0.5, 3.0)].into_iter().enumerate() {
        let story = format!("bracket, {bias:+} EV");
        let at_s = 840.1 + 0.6 * i as f64;
        let mut frame = take(&format!("NV6_01{:02}.dng", 2 + i), &story, &metered(at_s, shutter_s), glass());
        frame.recipe.shot.exposure_bias_ev = bias;
        takes.push(frame);
    }
    // The dial was still at the evening's setting.
    let dark = on_tripod(901.0, 1600.0, 8.0, 1.0 / 8000.0);
    takes.push(take("NV6_0105.dng", "six EV under: blocked shadows", &dark, glass()));
    let missed = Optics { defocus_px: 3.4, ..Optics::gaussian(0.55) };
    let focus = on_tripod(958.0, 100.0, 2.8, 1.0 / 125.0);
    takes.push(take("NV6_0106.dng", "missed focus at f/2.8", &focus, missed));
}

/// Noise and sharpness of the large camera, on the tripod, the first frame being ISO 100 and f/8 of both.
fn test_series(takes: &mut Vec<Take>) {
    for (i, (iso, per_s)) in [(800.0, 125.0), (3200.0, 500.0), (12_800.0, 2000.0)].into_iter().enumerate() {
        let settings = on_tripod(1020.0 + 9.0 * i as f64, iso, 8.0, 1.0 / per_s);
        let story = format!("ISO series, ISO {iso}{}", if i == 2 { ": noise and bands" } else { "" });
        let mut frame = take(&format!("NV6_01{:02}.dng", 7 + i), &story, &settings, glass());
        if i == 2 {
            frame.recipe.camera.row_banding =
                Banding { random_dn: 26.0, periodic_dn: 10.0, period_px: 24.0, ..Banding::default() };
            frame.recipe.camera.converter_noise_dn = 3.0;
        }
        takes.push(frame);
    }
    // Aberrations at each stop, px; diffraction comes on top.
    for (i, (f_number, per_s, sigma_px)) in
        [(2.8, 125.0, 1.05), (4.0, 60.0, 0.50), (22.0, 2.0, 0.42)].into_iter().enumerate()
    {
        let settings = on_tripod(1090.0 + 11.0 * i as f64, 100.0, f_number, 1.0 / per_s);
        let story = format!("aperture series, f/{f_number}");
        takes.push(take(&format!("NV6_01{:02}.dng", 10 + i), &story, &settings, Optics::gaussian(sigma_px)));
    }
}

fn tele_frames(takes: &mut Vec<Take>) {
    let tele = |at_s: f64, iso: f64, f_number: f64, shutter_s: f64| Settings {
        focal_mm: 300.0,
        view: 7,
        ..on_tripod(at_s, iso, f_number, shutter_s)
    };
    let swing = Optics { motion: Motion::Vibration { length_px: 4.2, direction_deg: 90.0 }, ..Optics::gaussian(0.45) };
    let slow = tele(1405.7, 100.0, 16.0, 0.25);
    takes.push(take("NV6_0113.dng", "300 mm on the tripod at 1/4 s: vibration", &slow, swing));
    let quick = tele(1431.2, 800.0, 5.6, 1.0 / 250.0);
    takes.push(take("NV6_0114.dng", "300 mm on the tripod at 1/250 s", &quick, glass()));
}

fn hand_held_frames(takes: &mut Vec<Take>) {
    let held = |at_s: f64, iso: f64, f_number: f64, shutter_s: f64| Settings {
        focal_mm: 70.0,
        view: 5,
        ..on_tripod(at_s, iso, f_number, shutter_s)
    };
    let arc = Motion::Arc { length_px: 9.0, direction_deg: 24.0, turn_deg: 25.0 };
    let shaken = Optics { motion: arc, ..Optics::gaussian(0.45) };
    takes.push(take("NV6_0115.dng", "hand-held at 1/8 s: camera shake", &held(1710.6, 100.0, 11.0, 0.125), shaken));
    let steady = held(1722.9, 400.0, 5.0, 1.0 / 160.0);
    takes.push(take("NV6_0116.dng", "hand-held at 1/160 s: steady", &steady, Optics::gaussian(0.45)));
    let again = Settings { at_s: 1724.6, ..steady };
    takes.push(take("NV6_0117.dng", "hand-held, the same again", &again, Optics::gaussian(0.45)));
}

fn other_cameras(takes: &mut Vec<Take>) {
    let large = Settings {
        body: Body::Ansgard,
        focal_mm: 63.0,
        f_number: 11.0,
        shutter_s: 0.125,
        ..on_tripod(1320.8, 100.0, 11.0, 0.125)
    };
    takes.push(take("ANS_0031.dng", "medium format on the tripod", &large, Optics::gaussian(0.42)));
    let base = |body: Body, at_s: f64, view: u64| Settings {
        body,
        focal_mm: 50.0,
        iso: 200.0,
        f_number: 4.0,
        shutter_s: 1.0 / 125.0,
        at_s,
        view,
    };
    for (i, motion) in [straight(5.0, 25.0), straight(0.5, 80.0), straight(7.0, 60.0)].into_iter().enumerate() {
        let settings = base(Body::Halse, 2100.0 + 0.21 * i as f64, 9);
        let story = if i == 1 { "burst of three: the steady one" } else { "burst of three: shaken" };
        let optics = Optics { motion, ..Optics::gaussian(0.5) };
        takes.push(take(&format!("HF4_{:04}.dng", 2212 + i), story, &settings, optics));
    }
    let upright = Settings { focal_mm: 18.0, f_number: 5.6, shutter_s: 1.0 / 60.0, ..base(Body::Halse, 2230.0, 11) };
    let mut portrait = take("HF4_2215.dng", "upright, steady", &upright, Optics::gaussian(0.47));
    portrait.recipe.shot.orientation = 8;
    let mut cut = portrait.clone();
    takes.push(portrait);
    cut.name = "HF4_2216.dng".into();
    cut.story = "the card was pulled out: the file is cut".into();
    cut.kept = 0.61;
    cut.recipe.shot.sub_seconds = "720".into();
    cut.recipe.seed += 1;
    takes.push(cut);
    let telephone = Settings {
        body: Body::Orrin,
        focal_mm: 4.2,
        iso: 50.0,
        f_number: 1.8,
        shutter_s: 1.0 / 160.0,
        at_s: 2290.0,
        view: 1,
    };
    takes.push(take("OP_0518.dng", "telephone", &telephone, Optics::gaussian(0.55)));
}

/// True where two recipes put the same light on the sensor.
fn same_light(a: &Recipe, b: &Recipe) -> bool {
    let of =
        |r: &Recipe| (r.width, r.height, r.scene_seed, r.shot.orientation, r.camera.filter.clone(), r.camera.border);
    of(a) == of(b) && a.optics == b.optics && a.scene == b.scene && a.oversampling == b.oversampling
}

/// Most groups of frames that are made at once: each takes some 300 MB.
const AT_ONCE: usize = 4;

/// Makes the frames and writes them into `folder` (which must exist) as losslessly compressed DNG files. `made` hears
/// of each file after it is written, in any order. Frames of one view share the rendering of the scene.
///
/// # Errors
/// Where a file cannot be written.
pub fn write_shoot(
    takes: &[Take],
    folder: &Path,
    made: impl Fn(&Take, &Path, &Raw) + Sync,
) -> std::io::Result<Vec<PathBuf>> {
    let mut order: Vec<usize> = (0..takes.len()).collect();
    let first = |i: usize| (0..takes.len()).find(|&j| same_light(&takes[j].recipe, &takes[i].recipe)).unwrap_or(i);
    order.sort_by_key(|&i| (first(i), i));
    let groups: Vec<&[usize]> = order.chunk_by(|&a, &b| first(a) == first(b)).collect();
    let write = |group: &&[usize]| -> std::io::Result<()> {
        let shared = light(&takes[group[0]].recipe);
        for &i in *group {
            let take = &takes[i];
            let raw = expose(&take.recipe, &shared);
            let mut bytes = raw.to_dng(Compression::LosslessJpeg);
            bytes.truncate((bytes.len() as f64 * take.kept) as usize);
            let path = folder.join(&take.name);
            std::fs::write(&path, bytes)?;
            made(take, &path, &raw);
        }
        Ok(())
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(AT_ONCE);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().map_err(std::io::Error::other)?;
    pool.install(|| groups.par_iter().try_for_each(write))?;
    Ok(takes.iter().map(|take| folder.join(&take.name)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shoot_is_plausible() {
        let takes = shoot();
        assert!(takes.len() >= 20);
        let mut names: Vec<&str> = takes.iter().map(|t| t.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), takes.len());
        for take in &takes {
            let r = &take.recipe;
            assert!(r.shot.description.contains("Simulated") && r.camera.model.contains("simulated"));
            assert!(r.exposure.white_ev.abs() < 7.0, "{}: {}", take.name, r.exposure.white_ev);
        }
        let bracket: Vec<f64> =
            takes.iter().filter(|t| t.story.starts_with("bracket")).map(|t| t.recipe.exposure.white_ev).collect();
        assert!((bracket[2] - bracket[0] - 2.9).abs() < 0.2 && (bracket[1] - bracket[0] + 3.1).abs() < 0.2);
    }
}
