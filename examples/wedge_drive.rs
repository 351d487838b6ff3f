//! Temporary driver.
use dotwright::blank::Blank;
use dotwright::mark::{Beam, Response};
use dotwright::placement::Grid;
use dotwright::units::*;
use dotwright::wedge::draw::*;
use dotwright::wedge::preview;
use dotwright::wedge::sheet::*;

fn main() {
    let a: Vec<String> = std::env::args().collect();
    match a[1].as_str() {
        "draw" => draw_cmd(&a[2..]),
        "read" => read_cmd(&a[2..]),
        _ => panic!(),
    }
}

fn read_cmd(a: &[String]) {
    let wedge =
        Wedge::from_toml(&std::fs::read_to_string(format!("{}/wedge.toml", opt(a, "--wedge", ""))).unwrap())
            .unwrap();
    for f in a.iter().filter(|x| x.ends_with(".jpg")) {
        let mut ask = dotwright::wedge::read::Ask::default();
        let w = opt(a, "--white", "");
        if !w.is_empty() {
            let v: Vec<f64> = w.split(',').map(|x| x.parse().unwrap()).collect();
            ask.white = Some([v[0], v[1], v[2], v[3]]);
            ask.white_luminance = v[4];
        }
        let bytes = std::fs::read(f).unwrap();
        let t = std::time::Instant::now();
        let photo = match dotwright::wedge::photo::open(&bytes) {
            Ok(p) => p,
            Err(e) => {
                println!("{{\"error\": {:?}}}", e.to_string());
                continue;
            }
        };
        let t1 = t.elapsed();
        match dotwright::wedge::read::read_photo(&photo, &wedge, &ask) {
            Ok(e) => println!("{}", serde_json::to_string(&e.reading).unwrap()),
            Err(e) => println!("{{\"error\": {:?}}}", e.to_string()),
        }
        eprintln!("open {:?} all {:?}", t1, t.elapsed());
    }
}

fn opt<'a>(a: &'a [String], name: &str, default: &'a str) -> &'a str {
    a.iter().position(|x| x == name).map_or(default, |i| &a[i + 1])
}

fn draw_cmd(a: &[String]) {
    let kind = match opt(a, "--kind", "exposure") {
        "exposure" => Kind::Exposure,
        "tone" => Kind::Tone,
        _ => Kind::Timing,
    };
    let lighter = opt(a, "--coating", "lighter") == "lighter";
    let pitch: Pitch = opt(a, "--pitch", "304dpi").parse().unwrap();
    let n = |s: &str| s.split("..").map(|x| x.parse::<f64>().unwrap()).collect::<Vec<_>>();
    let p = n(opt(a, "--power", "40..100"));
    let s = n(opt(a, "--speed", "6..30"));
    let st: Vec<usize> = opt(a, "--steps", "7x7").split('x').map(|x| x.parse().unwrap()).collect();
    let log = opt(a, "--log", "1") == "1";
    let request = Request {
        kind,
        blank: Blank { shape: opt(a, "--blank", "rect:100x100mm").parse().unwrap(), margin: Mm(2.5) },
        machine: "bench".into(),
        coating: opt(a, "--coating", "lighter").into(),
        rated_power: Watts(5.0),
        beam: Beam { along: Mm(0.12), across: Mm(0.12) },
        beam_measured: false,
        grid: Grid { along: Mm(pitch.mm()), across: Mm(pitch.mm()) },
        powers: steps(p[0], p[1], st[1], log).into_iter().map(|v| Share(v / 100.0)).collect(),
        speeds: steps(s[0], s[1], st[0], log).into_iter().map(MmPerS).collect(),
        chosen: Dial { power: Share(0.9), speed: MmPerS(12.5), passes: 1 },
        signs: None,
        response: Response {
            y_unmarked: if lighter { 0.03 } else { 0.70 },
            y_marked: if lighter { 0.65 } else { 0.06 },
            y_char: if lighter { 0.10 } else { 0.03 },
            x_half: 2.2,
            rise: 6.25,
            x_char: 9.0,
            char_rise: 8.0,
            schwarzschild: 0.8,
            v0: MmPerS(12.5),
        },
        response_measured: false,
        screens: opt(a, "--screens", "threshold").split(',').map(String::from).collect(),
        coverages: steps(0.1, 1.0, 10, false).into_iter().map(Share).collect(),
    };
    let d = match draw(&request) {
        Ok(d) => d,
        Err(e) => {
            eprintln!("{e}");
            std::process::exit(2)
        }
    };
    let out = opt(a, "--out", "/tmp/w");
    std::fs::create_dir_all(out).unwrap();
    std::fs::write(format!("{out}/wedge.toml"), d.wedge.to_toml().unwrap()).unwrap();
    let back = Wedge::from_toml(&d.wedge.to_toml().unwrap()).unwrap();
    assert!(back == d.wedge);
    let (w, h, p) = preview::preview(&d, 2);
    image::save_buffer(format!("{out}/wedge.png"), &p, w as u32, h as u32, image::ColorType::L8).unwrap();
    let mut g = vec![255u8; d.dots.width() * d.dots.height()];
    for y in 0..d.dots.height() {
        for x in 0..d.dots.width() {
            if d.dots.get(x, y) {
                g[y * d.dots.width() + x] = 0
            }
        }
    }
    image::save_buffer(
        format!("{out}/wedge-dots.png"),
        &g,
        d.dots.width() as u32,
        d.dots.height() as u32,
        image::ColorType::L8,
    )
    .unwrap();
    println!("{} signs {:?}", d.wedge.id, d.wedge.signs);
}
