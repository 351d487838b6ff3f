//! How the files named are read, a line of JSON each: `file`, `read_as`, `sure`, `why`, and after `--features` what was
//! measured, for `test_readings.py` and `fit_readings.py`.

use dotwright::kernels::art::reading::{decide, features};
use dotwright::kernels::art::{Window, open_path};
use dotwright::kernels::parallel::map;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut files: Vec<String> = std::env::args().skip(1).collect();
    // Measuring anew takes as long as reading.
    let measuring = files.first().is_some_and(|f| f == "--features");
    if measuring {
        files.remove(0);
    }
    let lines = map(files.len(), |i| {
        let art = open_path(files[i].as_ref()).map_err(|e| e.to_string())?;
        let said = decide(&art, Window::WHOLE);
        let measured = if measuring { features(&art, Window::WHOLE).map(|f| f.to_vec()) } else { None };
        Ok::<_, String>(serde_json::json!({
            "file": files[i], "read_as": said.kind.to_string(), "sure": said.sure, "why": said.why, "features": measured,
        }))
    });
    for line in lines {
        println!("{}", line?);
    }
    Ok(())
}
