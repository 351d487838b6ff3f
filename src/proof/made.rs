//! Made-up jobs for the tests of this room: a lighthouse for the gift shop of a harbour museum.
//!
//! With the environment variable `DOTWRIGHT_LOOK=FOLDER` the tests also keep their pictures and pages
//! there, to be looked at.

use super::report::*;
use crate::findings::{Finding, Remedy, Severity};

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
            read_as_why: "it has continuous tones".into(),
            width_px: Some(4032),
            height_px: Some(3024),
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
        },
        dots: DotFacts {
            columns: 1017,
            rows: 1017,
            pitch_along_mm: 25.4 / 304.0,
            pitch_across_mm: 25.4 / 304.0,
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
        }),
        times: Some(TimeFacts { total_s: 8460.0, beam_on_s: 2756.0, run_up_s: 318.0 }),
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
            .with(Remedy {
                change: "power",
                value: 78.0,
                unit: "%",
                text: "Set the power to 78 % instead of 90 %.".into(),
                verified: true,
            })
            .with(Remedy {
                change: "ceiling",
                value: 92.0,
                unit: "%",
                text: "Keep local coverage at or below 92 % (--ceiling 92%).".into(),
                verified: true,
            }),
            Finding::new(
                "step-beat",
                Severity::Caution,
                "a line is 6.684 motor steps: line spacing alternates between 0.075 mm and 0.0875 mm, the dose by 16.7 %, repeating every 0.26 mm",
            )
            .with(Remedy {
                change: "pitch",
                value: 0.0875,
                unit: "mm",
                text: "Use a pitch of 0.0875 mm (290.3 dpi, 7 steps).".into(),
                verified: false,
            }),
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
        notes: vec!["The art is mirrored: it is marked on the back and seen through the glass.".into()],
        cautions: vec!["Never leave the machine while the beam is on.".into()],
        steps: vec![
            StepFacts { title: "Clean the blank".into(), text: "Wash the glass with dish soap, rinse, wipe with isopropyl alcohol and a lint-free cloth.".into() },
            StepFacts { title: "Mix".into(), text: "Two parts of white poster paint, one part of water, a drop of dish soap.".into() },
        ],
    }
}
