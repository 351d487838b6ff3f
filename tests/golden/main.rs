//! Whole jobs as a maker runs them, held against what was kept in `tests/data/golden/`.
//!
//! Programs, dots, job files and what is said must be the same to the byte, figures to nine digits, pictures to one
//! level of each reduced pixel. What differs is laid out in `target/golden-failures/NAME/`: expected, got and difference
//! side by side. With `DOTWRIGHT_REWRITE=1` the kept files are written anew and the run still fails.
//! `DOTWRIGHT=PROGRAM` holds another build against the same files.

mod differ;
mod job;
mod kept;

use job::Job;

/// All jobs. Small blanks: all that is kept together stays under a megabyte.
const JOBS: &[Job] = &[
    Job {
        name: "photo",
        art: &["samples/harbour.jpg"],
        lines: &[
            "prepare harbour.jpg --blank round:22mm --place cover --levels auto:0.5% --local-contrast 20% --brighten 10 --sharpen 0.2mm --out out",
        ],
        keep: &[],
    },
    Job {
        name: "photo-searched",
        art: &["samples/harbour.jpg"],
        lines: &[
            "prepare harbour.jpg --blank rect:20x16mm --margin 2mm --crop 10%,0%,80%,100% --turn 90 --mirror --screen fitted \
             --coating bare-slate --machine diode-10w --direction one --beam-on white --out out",
        ],
        keep: &["dots.png", "proof.png", "program.nc", "report.json", "job.toml"],
    },
    Job {
        name: "drawing",
        art: &["samples/emblem.svg"],
        lines: &[
            "prepare emblem.svg --blank round:20mm --tiff --bmp --loupe 10,10 --out out",
            "prepare --job out/job.toml --out again --pitch 0.1mm --power 80% --screen clustered",
        ],
        keep: &["out/", "again/dots.png", "again/job.toml"],
    },
    Job {
        name: "logo-by-power",
        art: &["samples/name-tag.svg"],
        lines: &["prepare name-tag.svg --blank rect:24x12mm --margin 1mm --tone-by power --out out"],
        keep: &[],
    },
    Job {
        name: "stopped",
        art: &["samples/name-tag.svg"],
        lines: &[
            "prepare name-tag.svg --blank rect:20x10mm --margin 1mm --density 608dpi --speed 12.5mm/s --out out",
            "prepare name-tag.svg --blank rect:20x10mm --margin 1mm --density 608dpi --speed 12.5mm/s --json --quiet --out quiet",
        ],
        keep: &["out/report.json", "out/job.toml", "out/proof.png"],
    },
    Job {
        name: "screens",
        art: &["tests/data/art/whole.jpg"],
        lines: &[
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen threshold --out threshold",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen bayer --out bayer",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen jarvis-judice-ninke --out jarvis-judice-ninke",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen stucki --raster-order --out stucki",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen ostromoukhov --as-published --out ostromoukhov",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen zhou-fang --out zhou-fang",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen blue-noise --out blue-noise",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen clustered --ruling 3 --angle 30 --out clustered",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen model-diffusion --out model-diffusion",
            "prepare whole.jpg --blank rect:14x11mm --margin 1mm --screen auto --pitch-across 0.1mm --out auto",
        ],
        keep: &["dots.png"],
    },
    Job {
        name: "wedge-exposure",
        art: &[],
        lines: &[
            "wedge draw --kind exposure --blank rect:50x50mm --steps 5x5 --out drawn",
            "wedge read drawn/wedge.png --wedge drawn/wedge.toml --date 2026-01-02 --out read",
        ],
        keep: &[],
    },
    Job {
        name: "wedge-tone",
        art: &[],
        lines: &[
            "wedge draw --kind tone --blank rect:45x45mm --coverages 6 --screens bayer,floyd-steinberg --out drawn",
            "wedge read drawn/wedge.png --wedge drawn/wedge.toml --date 2026-01-02 --out read",
        ],
        keep: &[],
    },
    Job {
        name: "wedge-timing",
        art: &[],
        lines: &[
            "wedge draw --kind timing --blank rect:50x50mm --steps 3 --out drawn",
            "wedge read drawn/wedge.png --wedge drawn/wedge.toml --date 2026-01-02 --out read",
        ],
        keep: &[],
    },
    // The kind that is drawn where none is asked for.
    Job {
        name: "wedge-combined",
        art: &[],
        lines: &[
            "wedge draw --blank rect:50x50mm --steps 5x3 --screens floyd-steinberg --out drawn",
            "wedge read drawn/wedge.png --wedge drawn/wedge.toml --date 2026-01-02 --out read",
        ],
        keep: &[],
    },
    Job {
        name: "compare",
        art: &["tests/data/art/whole.jpg"],
        lines: &[
            "compare whole.jpg --blank rect:16x13mm --margin 1mm --densities 254dpi,290dpi --screens bayer,floyd-steinberg,fitted --out out",
        ],
        keep: &[],
    },
    Job {
        name: "proof-and-replay",
        art: &["samples/emblem.svg"],
        lines: &[
            "prepare emblem.svg --blank round:20mm --out made --quiet",
            "proof made/dots.png --blank round:20mm --loupe 8,8 --out proof",
            "replay made/program.nc --against made/dots.png --out replay",
            "replay made/outline.nc --json",
        ],
        keep: &["proof/", "replay/"],
    },
    Job {
        name: "layers-and-tray",
        art: &["samples/emblem.svg", "tests/data/orders/tags.toml", "tests/data/orders/tags.csv"],
        lines: &[
            "prepare emblem.svg --place 8x8mm --anchor left --at 1mm,0mm --border 0.5mm --text Fog --blank rect:30x16mm --out made",
            "tray tags.toml --jig 20%,50mm/s --out tray",
        ],
        keep: &[
            "made/dots.png",
            "made/job.toml",
            "tray/program-1.nc",
            "tray/ticket.html",
            "tray/jig.nc",
            "tray/jig.svg",
            "tray/report.json",
        ],
    },
    Job {
        name: "round",
        art: &["samples/emblem.svg", "samples/turner.toml"],
        lines: &[
            "prepare emblem.svg --blank cylinder:12x16mm --place 11x11mm --machine turner.toml --out made",
            "replay made/program.nc --machine turner.toml --against made/dots.png",
        ],
        keep: &[
            "made/dots.png",
            "made/round.png",
            "made/program.nc",
            "made/outline.nc",
            "made/job.toml",
            "made/report.json",
            "made/ticket.html",
        ],
    },
    Job {
        name: "advice-and-lists",
        art: &[],
        lines: &[
            "advise",
            "advise --machine diode-20w --coating zinc-spray --size 60x40mm --json",
            "kit list",
            "kit show poster-paint",
            "screens",
        ],
        keep: &[],
    },
];

/// One test a job, so that they run side by side and fail by name.
macro_rules! golden {
    ($($test:ident: $name:literal),+ $(,)?) => {
        $(#[test]
        fn $test() {
            job::check(JOBS.iter().find(|j| j.name == $name).expect("a job of that name"));
        })+

        /// Every job has its test, and nothing is kept for a job that is gone.
        #[test]
        fn every_job_is_run_and_what_is_kept_stays_small() {
            let names: Vec<&str> = JOBS.iter().map(|j| j.name).collect();
            assert_eq!(names, [$($name),+]);
            kept::only(&names, 1 << 20);
        }
    };
}

golden! {
    a_photo: "photo",
    a_photo_by_a_searching_screen_on_slate: "photo-searched",
    a_drawing_and_its_job_run_again: "drawing",
    a_logo_by_power: "logo-by-power",
    a_job_that_over_burns: "stopped",
    the_dots_of_every_screen: "screens",
    an_exposure_wedge: "wedge-exposure",
    a_tone_wedge: "wedge-tone",
    a_timing_wedge: "wedge-timing",
    a_wedge_of_everything: "wedge-combined",
    a_contact_sheet: "compare",
    a_proof_and_a_replay: "proof-and-replay",
    layers_and_a_tray: "layers-and-tray",
    a_round_piece: "round",
    advice_and_lists: "advice-and-lists",
}
