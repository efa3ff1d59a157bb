//! Order of sharpness against two outside measures on one scene at rising blur: `skimage.measure.blur_effect` (Crete et
//! al. 2007; higher is more blurred) and the variance of OpenCV's Laplacian (lower is more blurred).

use std::path::Path;

use rawassay_scene::{Compression, Optics, Recipe, SceneKind, render};

use crate::python;

const SCRIPT: &str = r"
import sys, numpy as np, cv2
from skimage.measure import blur_effect
for path in sys.argv[1:]:
    head = np.fromfile(path, dtype='<u4', count=2)
    plane = np.fromfile(path, dtype='<f4', offset=8).reshape(head[1], head[0])
    plane = plane / plane.max()
    print(blur_effect(plane), cv2.Laplacian(plane, cv2.CV_32F, ksize=3).var())
";

#[test]
fn order_of_rising_blur() {
    let Some(python) = python::interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut rises = Vec::new();
    let mut paths = Vec::new();
    for (k, sigma) in [0.4, 0.8, 1.2, 1.8, 2.6].into_iter().enumerate() {
        let recipe = Recipe::new(SceneKind::Buildings).size(800, 560).optics(Optics::gaussian(sigma));
        let file = render(&recipe).to_dng(Compression::None);
        let frame = rawassay_decode::open_bytes(Path::new("frame.dng"), file).unwrap();
        rises.push(rawassay_analysis::measure(&frame).sharpness.edge_rise_px.unwrap());
        // One green of the Bayer array, as the outside measures want a plain picture.
        let area = frame.active;
        let (w, h) = (area.width / 2, area.height / 2);
        let mut bytes: Vec<u8> = [(w as u32).to_le_bytes(), (h as u32).to_le_bytes()].concat();
        for y in 0..h {
            let row = frame.row(area.y + 2 * y);
            for x in 0..w {
                bytes.extend((f32::from(row[area.x + 2 * x + 1]) - 512.0).to_le_bytes());
            }
        }
        let path = folder.path().join(format!("{k}.plane"));
        std::fs::write(&path, bytes).unwrap();
        paths.push(path.display().to_string());
    }
    let arguments: Vec<&str> = paths.iter().map(String::as_str).collect();
    let text = python::run(&python, SCRIPT, &arguments);
    let outside: Vec<(f64, f64)> = text
        .lines()
        .map(|line| {
            let mut fields = line.split_whitespace().map(|f| f.parse::<f64>().unwrap());
            (fields.next().unwrap(), fields.next().unwrap())
        })
        .collect();
    for k in 1..rises.len() {
        assert!(outside[k].0 > outside[k - 1].0, "blur_effect is not in order: {outside:?}");
        assert!(outside[k].1 < outside[k - 1].1, "the Laplacian is not in order: {outside:?}");
        assert!(rises[k] > rises[k - 1], "our rise is not in the order of both: {rises:?}");
    }
}
