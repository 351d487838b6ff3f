//! Made-up jobs for the tests of this room: a lighthouse for the gift shop of a harbour museum.
//!
//! With the environment variable `DOTWRIGHT_LOOK=FOLDER` the tests also keep their pictures and pages
//! there, to be looked at.

use super::report::*;
use crate::blank::{Blank, Mantle};
use crate::findings::{Finding, Remedy, Severity};
use crate::note::Note;
use crate::placement::{DotRect, Grid};
use crate::plane::Dots;
use crate::units::Mm;

/// Keeps a picture or page for the eye, where asked.
pub fn keep(name: &str, bytes: &[u8]) {
    if let Some(folder) = std::env::var_os("DOTWRIGHT_LOOK") {
        std::fs::write(std::path::Path::new(&folder).join(name), bytes).unwrap();
    }
}

/// A report in which every optional part is present.
pub fn report() -> Report {
    let practice = "common practice for diode lasers of this power, no measurement";
    let number = |v: f64| Known::new(v, Standing::Assumed, practice);
    let given = |v: f64| Known::new(v, Standing::Given, "on the command line");
    Report {
        schema_version: SCHEMA_VERSION,
        written_by: "dotwright 0.1.0".into(),
        art: ArtFacts {
            name: "lighthouse at dusk.jpg".into(),
            format: "JPEG".into(),
            read_as: "photo".into(),
            read_as_sure_share: Some(0.97),
            read_as_why: "it has continuous tones".into(),
            width_px: Some(4032),
            height_px: Some(3024),
            layers: 1,
        },
        blank: BlankFacts {
            shape: "round:90mm".into(),
            width_mm: 90.0,
            height_mm: 90.0,
            margin_mm: 2.5,
            surface: "glass".into(),
        },
        placement: PlacementFacts {
            wished_width_mm: 85.0,
            wished_height_mm: 85.0,
            true_width_mm: 84.973,
            true_height_mm: 84.973,
            left_mm: 2.513,
            top_mm: 2.513,
            turn_deg: 0.0,
            mirror: true,
            shown: Some(super::words::mirrored(crate::blank::Surface::Glass)),
        },
        dots: DotFacts {
            columns: 1017,
            rows: 1017,
            pitch_along_mm: 25.4 / 304.0,
            pitch_across_mm: 25.4 / 304.0,
            unsure_beam_share: 0.1,
            unsure_exposure_share: 0.1,
            density_dpi: 304.0,
            pitch_why: "asked for".into(),
            on_count: 412_331,
            coverage_share: 0.3987,
            screen: "floyd-steinberg".into(),
            dot_gain: "forecast".into(),
            beam_on: "black".into(),
        },
        process: ProcessFacts {
            machine: "diode 5 W".into(),
            coating: "poster paint".into(),
            marks: "lighter".into(),
            standing: Standing::Assumed,
            wavelength_nm: Some(number(450.0)),
            rated_power_w: number(5.0),
            beam_along_mm: number(0.12),
            beam_across_mm: number(0.12),
            power_share: given(0.9),
            speed_mm_per_s: given(12.5),
            passes: Known::new(1, Standing::Assumed, practice),
            dose_j_per_mm2: 4.309,
            effective_exposure_j_per_mm2: 4.309,
            y_unmarked: number(0.03),
            y_marked: number(0.65),
            y_char: number(0.1),
            x_half_j_per_mm2: Known::new(2.31, Standing::Measured, "wedge of 2026-11-20"),
            rise: number(6.25),
            x_char_j_per_mm2: Some(number(9.0)),
            char_rise: number(8.0),
            schwarzschild: number(0.8),
            reference_speed_mm_per_s: number(12.5),
        },
        forecast: Some(ForecastFacts {
            mean_mark_share: 0.4312,
            mean_wanted_share: 0.4309,
            marked_mm2: 2391.0,
            over_burn_mm2: 3.2,
            likeness_planned_db: Some(39.9),
            likeness_expected_db: Some(33.4),
        }),
        round: Some(RoundFacts {
            diameter_mm: 73.0,
            cone: Some(ConeFacts { foot_mm: 65.0, top_mm: 73.0, slant_mm: 100.0799, tilt_deg: 2.2906 }),
            girth_mm: 229.336,
            seam: "margin".into(),
            letter: "A".into(),
            units_per_mm: 1.5697,
            steps_a_line: None,
            degrees_a_line: None,
            falls_mm: 0.003,
            focus: super::round::focus(
                &Mantle { foot: Mm(65.0), top: Mm(73.0), height: Mm(100.0) },
                0.12,
                0.5,
            ),
        }),
        times: Some(TimeFacts {
            total_s: 8460.0,
            beam_on_s: 2756.0,
            gaps_s: 5383.0,
            run_up_s: 318.0,
            turn_s: 52.0,
            approach_s: 3.0,
            dwell_s: Some(0.0),
            bound_s: 2790.0,
        }),
        program: Some(ProgramFacts {
            lines: 418_002,
            bytes: 6_912_345,
            travel_mm: 98_214.0,
            run_up_mm: 1.5,
            link: Some("at 115200 baud up to 31.2 mm/s at this density; 12.5 mm/s is safe".into()),
        }),
        gain_curve: (0..=16)
            .map(|i| {
                let c = f64::from(i) / 16.0;
                GainPoint { coverage_share: c, mark_share: 1.0 - (1.0 - c).powf(1.9) }
            })
            .collect(),
        findings: vec![
            Finding {
                area_mm2: Some(3.2),
                at_mm: Some((61.4, 33.0)),
                ..Finding::new("over-burn", Severity::Stop, "3.2 mm² would char, 0.13 % of the marked area (limit 0.1 %)")
            }
            .with(Remedy::new("power", 78.0, "%", "Set the power to 78 % instead of 90 %.").verified(true))
            .with(
                Remedy::new("ceiling", 92.0, "%", "Keep local coverage at or below 92 % (--ceiling 92%).")
                    .verified(true),
            ),
            Finding::new(
                "step-beat",
                Severity::Caution,
                "a line is 6.684 motor steps: line spacing alternates between 0.075 mm and 0.0875 mm, the dose by 16.7 %, repeating every 0.26 mm",
            )
            .with(Remedy::new("pitch", 0.0875, "mm", "Use a pitch of 0.0875 mm (290.3 dpi, 7 steps).")),
            Finding::new(
                "assumed",
                Severity::Note,
                "the beam and the coating's response were never measured on this machine; burn a wedge to be sure",
            ),
        ],
        files: vec![
            FileFacts { name: "dots.png".into(), bytes: Some(98_304), about: "the dots, 1 bit each".into() },
            FileFacts { name: "proof.png".into(), bytes: Some(812_000), about: "forecast of the piece".into() },
            FileFacts { name: "report.json".into(), bytes: None, about: "every figure of this page".into() },
        ],
        notes: vec![Note::fact("The art is mirrored: it is marked on the back and seen through the glass.")],
        cautions: vec!["Never leave the machine while the beam is on.".into()],
        steps: vec![
            StepFacts { title: "Clean the blank".into(), text: "Wash the glass with dish soap, rinse, wipe with isopropyl alcohol and a lint-free cloth.".into() },
            StepFacts { title: "Mix".into(), text: "Two parts of white poster paint, one part of water, a drop of dish soap.".into() },
        ],
    }
}

/// A blank with a margin of 2.5 mm and the rectangle of dots in its middle.
pub fn scene_parts(shape: &str, columns: usize, rows: usize, along: f64, across: f64) -> (Blank, DotRect) {
    let blank = Blank { shape: shape.parse().unwrap(), margin: Mm(2.5) };
    let grid = Grid { along: Mm(along), across: Mm(across) };
    let left = Mm((blank.shape.width() - columns as f64 * along) / 2.0);
    let top = Mm((blank.shape.height() - rows as f64 * across) / 2.0);
    (blank, DotRect { left, top, columns, rows, grid })
}

/// Wanted mark of the made-up picture at (u, v), both 0..1 from the upper left: a lighthouse on a rock
/// before an evening sky.
fn wanted(u: f64, v: f64) -> f64 {
    let (x, y) = (u - 0.55, v);
    let half = 0.035 + 0.03 * y;
    let beam = ((y - 0.22) - 0.25 * (x + 0.02)).abs() < 0.02 - 0.09 * x && x < 0.0;
    if (0.26..0.78).contains(&y) && x.abs() < half {
        return if ((y * 12.0) as i32) % 2 == 0 { 0.95 - 2.5 * (x + half) } else { 0.3 - 1.5 * (x + half) };
    }
    if (0.18..0.26).contains(&y) && x.abs() < 0.04 {
        return if x.abs() < 0.028 { 1.0 } else { 0.1 };
    }
    if y > 0.76 + 0.05 * (u * 17.0).sin() * u + 0.08 * (u - 0.55).abs() {
        let wave = ((u * 60.0 + 8.0 * (v * 25.0).sin()).sin() * (v * 130.0).sin()).abs();
        return 0.12 + 0.35 * wave * (v - 0.6);
    }
    let sky = 0.75 - 0.7 * v + 0.08 * (9.0 * u + 14.0 * v).sin() * (5.0 * v).cos();
    if beam { sky + 0.25 } else { sky }
}

/// The made-up picture in dots, by plain error diffusion.
pub fn lighthouse(columns: usize, rows: usize) -> Dots {
    let mut dots = Dots::off(columns, rows);
    let (mut now, mut next) = (vec![0.0f64; columns + 2], vec![0.0f64; columns + 2]);
    for y in 0..rows {
        for x in 0..columns {
            let want = wanted(x as f64 / columns as f64, y as f64 / rows as f64).clamp(0.0, 1.0);
            let value = want + now[x + 1];
            let on = value > 0.5;
            dots.set(x, y, on);
            let error = value - f64::from(u8::from(on));
            now[x + 2] += error * 7.0 / 16.0;
            next[x] += error * 3.0 / 16.0;
            next[x + 1] += error * 5.0 / 16.0;
            next[x + 2] += error / 16.0;
        }
        now.fill(0.0);
        std::mem::swap(&mut now, &mut next);
    }
    dots
}
