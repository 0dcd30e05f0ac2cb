//! The part of a live test that runs in a process of its own: reads a job, uses the library, writes the outcome. The test
//! executable starts itself for it, as the ignored test `child::works`.

use std::path::PathBuf;
use std::time::Duration;

use coilwright::capture::live::{self, Live, Selection};
use coilwright::capture::stop::Stop;
use coilwright::capture::{Capture, Request};
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize)]
pub struct Job {
    pub rate_hz: u32,
    /// Empty: asks about devices, plays nothing.
    pub drive: Vec<f32>,
    pub output: Option<String>,
    pub input: Option<String>,
    pub pickup_channel: usize,
    pub reference_channel: Option<usize>,
    pub stop_after_s: Option<f64>,
}

#[derive(Serialize, Deserialize, Default)]
pub struct Outcome {
    pub failure: Option<String>,
    pub pickup: Vec<f32>,
    pub reference: Vec<f32>,
    pub step: f64,
    pub trouble: Vec<String>,
    pub notes: Vec<String>,
    pub device: Option<String>,
    pub fractions: Vec<f64>,
    pub peaks: [f32; 2],
    pub devices: Vec<Device>,
    pub default_rate_hz: Option<u32>,
}

#[derive(Serialize, Deserialize)]
pub struct Device {
    pub direction: String,
    pub name: String,
    pub id: String,
    pub channels: Vec<u16>,
    pub rates_hz: Vec<u32>,
    pub formats: Vec<String>,
    pub default: bool,
    pub selected: bool,
    pub problem: Option<String>,
}

impl Job {
    pub fn take(rate_hz: u32, drive: Vec<f32>) -> Job {
        Job {
            rate_hz,
            drive,
            output: None,
            input: None,
            pickup_channel: 1,
            reference_channel: Some(2),
            stop_after_s: None,
        }
    }

    pub fn ask(rate_hz: u32) -> Job {
        Job::take(rate_hz, Vec::new())
    }

    pub fn on(self, output: &str, input: &str) -> Job {
        Job {
            output: Some(output.into()),
            input: Some(input.into()),
            ..self
        }
    }
}

fn ask(selection: &Selection, rate_hz: u32, outcome: &mut Outcome) -> coilwright::failure::Result<()> {
    let devices = live::devices(selection)?;
    outcome.devices = devices
        .into_iter()
        .map(|d| Device {
            direction: d.direction.words().into(),
            name: d.name,
            id: d.id,
            channels: d.channels,
            rates_hz: d.rates_hz,
            formats: d.formats,
            default: d.default,
            selected: d.selected,
            problem: d.problem,
        })
        .collect();
    outcome.default_rate_hz = Some(live::default_rate(selection)?);
    live::check(selection, rate_hz)?;
    Ok(())
}

#[test]
#[ignore = "the child process of the other tests"]
fn works() {
    let Some(file) = std::env::var_os("COILWRIGHT_LIVE_JOB").map(PathBuf::from) else {
        return;
    };
    let job: Job = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
    let selection = Selection {
        output: job.output,
        input: job.input,
        pickup_channel: job.pickup_channel,
        reference_channel: job.reference_channel,
    };
    let mut outcome = Outcome::default();
    let stop = Stop::default();
    if let Some(after) = job.stop_after_s {
        let stop = stop.clone();
        std::thread::spawn(move || {
            std::thread::sleep(Duration::from_secs_f64(after));
            // As the handler of a Ctrl-C does.
            let [pressed, _] = stop.flags().expect("the flags are given once");
            pressed.store(true, std::sync::atomic::Ordering::Relaxed);
        });
    }
    if job.drive.is_empty() {
        outcome.failure = ask(&selection, job.rate_hz, &mut outcome).err().map(|f| f.to_string());
    } else {
        let request = Request {
            rate_hz: job.rate_hz,
            drive: job.drive,
        };
        let (mut fractions, mut peaks) = (Vec::new(), [0.0_f32; 2]);
        let take = Live::new(selection, stop).take(&request, &mut |p| {
            fractions.push(p.fraction);
            peaks = [peaks[0].max(p.peak_pickup), peaks[1].max(p.peak_reference)];
        });
        (outcome.fractions, outcome.peaks) = (fractions, peaks);
        match take {
            Ok(take) => {
                outcome.pickup = take.pickup;
                outcome.step = take.step;
                outcome.reference = take.reference.unwrap_or_default();
                outcome.trouble = take.provenance.trouble;
                outcome.notes = take.provenance.notes;
                outcome.device = take.provenance.device;
            }
            Err(failure) => outcome.failure = Some(failure.to_string()),
        }
    }
    std::fs::write(
        file.with_file_name("outcome.json"),
        serde_json::to_vec(&outcome).unwrap(),
    )
    .unwrap();
}
