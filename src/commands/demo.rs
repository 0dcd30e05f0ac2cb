//! `demo`: the whole job on the built-in bench, in a workshop that does not exist.

mod harness;
mod mornings;
mod pages;
mod script;
mod story;
mod take;

use std::time::SystemTime;

use serde::Serialize;

use super::outcome::Played;
use super::{compare, known, outcome};
use crate::cli::args::DemoArgs;
use crate::cli::context::{now, ready_folder};
use crate::commands::prelude::*;
use crate::fileio;
use crate::network::Load;
use crate::parallel;
use crate::record::stage::Stage;
use crate::record::{Pickup, Record};
use crate::report::difference_words;
use crate::report::overlay::{self, Align};
use crate::rig::Rig;
use crate::shop::difference::{self, How};
use crate::shop::known::Known;
use crate::stimulus::{self, Settings};

use script::{COIL_TAKES, COMPARISONS, INDEX, JOBS, Job, PAGES};
use story::Made;
use take::taken;

/// The rig of the story, written beside its records.
const RIG: &str = "\
# The rig of the demonstration. It stands in no real workshop.
name = \"window bench\"

[exciter]
reference = \"voltage\"        # channel 2 reads the voltage before the exciter
series_ohm = 100.0           # from channel 2's tap to ground
inductance_h = 0.0005
source_ohm = 22.0            # of the headphone output, before the tap
series_tolerance = 0.005     # standard uncertainties, relative
inductance_tolerance = 0.02
sign = 1                     # found with a pickup of known polarity

[input]
resistance_ohm = 1.0e6       # an instrument input
capacitance_f = 60e-12
lead_capacitance_f = 90e-12  # of the test lead
delay_s = 0.0

[mains]
frequency_hz = 50

[witness]
name = \"witness one\"         # kept for nothing else
load = \"cap=100p res=330k\"
place = \"fixed\"

[interface]
output = \"built-in bench\"    # nothing real has a place in this file
input = \"built-in bench\"
";

#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/demo/1")]
struct Document {
    records: Vec<PathBuf>,
    comparisons: Vec<PathBuf>,
    /// On pots and cables.
    page: PathBuf,
    /// A page of one of everything.
    index: PathBuf,
    coil: PathBuf,
}

pub fn run(args: &DemoArgs, console: &mut Console) -> Result<Status> {
    let out = &args.out;
    refuse_existing(out)?;
    let out = ready_folder(out)?;
    let made = make(&out)?;
    let index = pages::make(&made, &out, console)?;
    let path = |folder: &str, file: &str| out.join(folder).join(file);
    let document = Document {
        records: JOBS.iter().map(|j| path(j.folder, "record.json")).collect(),
        comparisons: COMPARISONS.iter().map(|c| path(c.0, "compare.json")).collect(),
        page: path(harness::FOLDER, "page.html"),
        index,
        coil: path(harness::FOLDER, "coil.toml"),
    };
    outcome::say(&document, args.shown, console, |_, style| {
        story::tell(&made, &out, style)
    })
}

/// Refuses a place where an earlier run, or anything else of these names, lies.
fn refuse_existing(out: &Path) -> Result<()> {
    let folders = JOBS.iter().map(|j| j.folder).chain(COMPARISONS.map(|c| c.0));
    let all = folders.chain(["rig.toml", mornings::FILE, harness::FOLDER, PAGES, INDEX]);
    let hint = "choose another folder with --out, or remove the old demonstration";
    outcome::refuse_taken(all.map(|name| out.join(name)), hint)
}

fn make(out: &Path) -> Result<Made> {
    let file = out.join("rig.toml");
    fileio::write_new(&file, RIG.as_bytes())?;
    let rig = Rig::parse(RIG, "rig")?;
    let drive = Played::from(stimulus::make(&Settings::at_rate(48_000))?);
    mornings::check(&rig, &file, &drive, SystemTime::now())?;
    let known = known::beside(&rig, &file).0;
    let at = now();
    let records = parallel::each(&JOBS, |job| {
        measure(job, (&rig, &known), &drive, &at, &out.join(job.folder))
    });
    let records: Vec<Record> = records.into_iter().collect::<Result<_>>()?;
    let comparisons = parallel::each(&COMPARISONS, |(folder, which)| {
        let pair = which.map(|i| records[i].clone());
        let mut comparison = difference::compare(&pair, &How::default())?;
        difference_words::put(&mut comparison, &pair);
        let stem = ready_folder(&out.join(folder))?.join("overlay");
        compare::write(&comparison, Some(&stem))?;
        drawn(overlay::compare_plot(&pair, Align::LowFrequency).map(|p| vec![(stem, p)]))?;
        Ok(comparison)
    });
    let harness = harness::make(&records[COIL_TAKES], &records[0], out)?;
    Ok(Made {
        records,
        comparisons: comparisons.into_iter().collect::<Result<_>>()?,
        harness,
    })
}

/// To look at pictures is what the demonstration is for: here a missing one is a failure.
fn drawn(pictures: Result<outcome::Pictures>) -> Result<()> {
    outcome::put(pictures).1.into_iter().next().map_or(Ok(()), Err)
}

/// From test signal to record, as `measure` does it.
fn measure(job: &Job, (rig, known): (&Rig, &Known), drive: &Played, taken_at: &str, folder: &Path) -> Result<Record> {
    let load = job.load.map(str::parse::<Load>).transpose()?;
    let pickup = Pickup {
        over: job.over.map(Into::into),
        r_ohm: Some(job.ohms),
        temperature_c: Some(21.0),
        note: Some(job.note.into()),
        stage: job.stage.and_then(Stage::of),
        ..Pickup::default()
    };
    let (take, mut record) = taken((job.sim, job.seed), (job.pickup, pickup), (rig, load), drive, taken_at)?;
    known.put(&mut record, None);
    let folder = ready_folder(folder)?;
    outcome::keep_drive(&folder, drive, &mut Vec::new())?;
    outcome::keep_take(folder.join(outcome::take_name(0)), &take)?;
    outcome::write(&record, &folder)?;
    drawn(outcome::missing_pictures(&record, &folder))?;
    Ok(record)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::args::{Detailed, Shown};
    use crate::record::{Model, Verdict, store};

    fn demo(out: &Path, json: bool) -> Result<String> {
        let (mut text, mut err) = (Vec::new(), Vec::new());
        let args = DemoArgs {
            out: out.to_path_buf(),
            shown: Detailed {
                shown: Shown { json, details: false },
                details: false,
            },
        };
        let status = run(&args, &mut Console::new(&mut text, &mut err))?;
        assert_eq!(status, Status::Done);
        assert!(err.is_empty());
        Ok(String::from_utf8(text).unwrap())
    }

    #[test]
    fn it_makes_what_it_tells_of_and_never_twice_in_one_place() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("d");
        let text = demo(&out, false).unwrap();
        let plain = anstream::adapter::strip_str(&text).to_string();
        // Commands stay in one line, however long the folder's name is.
        let told = |l: &&str| !l.starts_with("   coilwright ");
        assert!(plain.lines().filter(told).all(|l| l.chars().count() <= 80), "{plain}");
        assert!((28..=60).contains(&plain.lines().count()), "{}", plain.lines().count());
        for job in &JOBS {
            let folder = out.join(job.folder);
            for file in [
                "take.wav",
                "drive.wav",
                "drive.json",
                "response.svg",
                "response.png",
                "record.json",
            ] {
                assert!(folder.join(file).is_file(), "{file}");
            }
            assert!(plain.contains(job.folder), "{}", job.folder);
            let record = store::read(&folder).unwrap();
            assert!(record.notes.iter().any(|n| n == "simulated"));
            let rejected = record.verdict == Verdict::Rejected;
            assert_eq!(rejected, job.folder == "6-open-winding", "{:?}", record.findings);
            assert!(rejected || record.verdict == Verdict::Ok, "{:?}", record.findings);
            // The coil without the exciter shows in the curve, and its model has one: so the story tells.
            let other = record.fit.is_some_and(|f| f.model == Model::SecondOrderOther);
            assert_eq!(other, job.over.is_some());
        }
        for (folder, _) in COMPARISONS {
            for file in ["overlay.svg", "overlay.png", "compare.json"] {
                assert!(out.join(folder).join(file).is_file(), "{file}");
            }
            let table = std::fs::read_to_string(out.join(folder).join("compare.json")).unwrap();
            assert!(table.contains("simulated"));
        }
        Rig::read(&out.join("rig.toml")).unwrap();
        let made = out.join(harness::FOLDER);
        let page = std::fs::read_to_string(made.join("page.html")).unwrap();
        assert!(
            page.contains("SIMULATED") && page.matches("<svg").count() >= 7,
            "{page}"
        );
        let index = std::fs::read_to_string(out.join(INDEX)).unwrap();
        let links: Vec<&str> = index
            .split("href=\"")
            .skip(1)
            .map(|l| l.split('"').next().unwrap())
            .collect();
        assert!(
            links.len() == 9 && links.iter().all(|l| out.join(l).is_file()),
            "{links:?}"
        );
        for file in [
            "coil.toml",
            "cables.svg",
            "volume.png",
            "pots.svg",
            "tone.svg",
            "tolerances.svg",
            "wirings.svg",
        ] {
            assert!(made.join(file).is_file(), "{file}");
        }
        let e = demo(&out, true).unwrap_err().to_string();
        assert!(e.contains("is there already") && e.contains("--out"), "{e}");
    }

    #[test]
    fn its_document_names_what_it_made_and_its_takes_are_always_the_same() {
        let dir = tempfile::tempdir().unwrap();
        let (a, b) = (dir.path().join("a"), dir.path().join("b"));
        let text = demo(&a, true).unwrap();
        let d: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(d["schema"], "coilwright/demo/1");
        let paths = |key: &str| -> Vec<PathBuf> {
            let list = d[key].as_array().unwrap();
            list.iter().map(|p| PathBuf::from(p.as_str().unwrap())).collect()
        };
        assert_eq!(paths("records").len(), JOBS.len());
        assert!(paths("records").iter().all(|p| store::read(p).is_ok()));
        assert_eq!(paths("comparisons").len(), COMPARISONS.len());
        assert!(paths("comparisons").iter().all(|p| p.is_file()));
        demo(&b, true).unwrap();
        for job in &JOBS {
            let take = |dir: &Path| std::fs::read(dir.join(job.folder).join("take.wav")).unwrap();
            assert!(take(&a) == take(&b), "{}", job.folder);
        }
        // What the demonstration holds of wax is a difference, and one of two cables too.
        for path in paths("comparisons") {
            let text = std::fs::read_to_string(path).unwrap();
            let c: serde_json::Value = serde_json::from_str(&text).unwrap();
            assert_eq!(c["differences"][0]["answer"], "different", "{text}");
        }
    }
}
