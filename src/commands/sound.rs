//! Opens what plays and records: the sound card or the built-in bench, as options, defaults and rig file say.

use super::progress;
use crate::capture::bench::{Bench as BuiltIn, DEVICE, Spec};
use crate::capture::stop::Stop;
use crate::capture::wav::Channels;
use crate::capture::{Capture, Cause, Request, Take};
use crate::cli::args::{DriveArgs, Source};
use crate::cli::context::Bench;
use crate::commands::prelude::*;
use crate::fileio;
use crate::network::Wiring;
use crate::rig::{Rig, Used};
use crate::stimulus::Settings;

/// Settings from options; what is left out is as `Settings::at_rate` says.
pub fn settings(args: &DriveArgs, default_rate: u32) -> Result<Settings> {
    let rate_hz = match args.rate {
        None => default_rate,
        Some(r) if r.fract() == 0.0 && (1.0..=4e6).contains(&r) => r as u32,
        Some(r) => {
            return Err(Failure::new(
                format!("--rate {r} is no sampling rate"),
                "give a whole number of hertz, such as 48k or 96k",
            ));
        }
    };
    let plain = Settings::at_rate(rate_hz);
    Ok(Settings {
        shape: args.shape.unwrap_or(plain.shape),
        seconds: args.seconds.unwrap_or(plain.seconds),
        from_hz: args.from.unwrap_or(plain.from_hz),
        to_hz: args.to.unwrap_or(plain.to_hz),
        level_dbfs: args.level.unwrap_or(plain.level_dbfs),
        seed: args.seed.unwrap_or(plain.seed),
        tilt: args.tilt.unwrap_or(plain.tilt),
        ..plain
    })
}

/// At the level that is asked for, else the rig's own.
pub fn at_level(args: &DriveArgs, bench: &Bench) -> DriveArgs {
    let own = bench.rig.as_ref().and_then(|r| r.interface.as_ref()?.level_dbfs);
    DriveArgs {
        level: args.level.or(own),
        ..args.clone()
    }
}

/// What is asked for.
pub struct Asked<'a> {
    pub source: &'a Source,
    pub drive: &'a DriveArgs,
    /// Rig, load and channels.
    pub bench: &'a Bench,
    /// In which the built-in bench's pickup stands.
    pub guitar: Option<&'a Wiring>,
    pub defaults: &'a Defaults,
    /// The rig file's interface binds; not where it is just being written.
    pub bound: bool,
    pub stop: Stop,
}

/// Ready to play.
pub struct Sound {
    pub capture: Box<dyn Capture>,
    pub rate_hz: u32,
    pub used: Used,
    pub live: bool,
}

impl Sound {
    /// One take.
    pub fn take(&mut self, request: &Request, console: &mut Console) -> Result<Take> {
        once_more(console, |_| {
            progress::shown(self.live, |p| self.capture.take(request, p))
        })
    }
}

impl Asked<'_> {
    pub fn open(&self) -> Result<Sound> {
        match (self.source.is_sim(), &self.source.sim) {
            (true, spec) => self.sim(spec.as_deref()),
            (false, None) => self.live(),
            (false, Some(_)) => Err(Failure::new(
                "--sim describes the built-in bench, which is not used",
                "add --source sim",
            )),
        }
    }

    /// The rig whose interface binds.
    fn rig(&self) -> Option<&Rig> {
        self.bench.rig.as_ref().filter(|_| self.bound)
    }

    fn channels(&self) -> Channels {
        self.bench.channels.unwrap_or(Channels {
            pickup: 1,
            reference: Some(2),
        })
    }

    /// The rate that was asked for, else the rig's, else the fallback's.
    fn rate(&self, fallback: impl FnOnce() -> Result<u32>) -> Result<u32> {
        if self.drive.rate.is_some() {
            return Ok(settings(self.drive, 48_000)?.rate_hz);
        }
        let of_rig = self.rig().and_then(|r| r.interface.as_ref()?.rate_hz);
        of_rig.map_or_else(fallback, Ok)
    }

    fn sim(&self, spec: Option<&str>) -> Result<Sound> {
        let rate_hz = self.rate(|| Ok(48_000))?;
        let mut spec = spec.map_or_else(|| Ok(Spec::default()), Spec::from_arg)?;
        spec.guitar = self.guitar.cloned();
        let channels = self.channels();
        let (one_channel, seed) = (channels.reference.is_none(), self.drive.seed.unwrap_or(1));
        let used = used([DEVICE.into(), DEVICE.into()], rate_hz, channels);
        // The file of a real rig may be tried on the built-in bench at any rate; one that was set up on it is bound to it.
        if let Some(rig) = self.rig().filter(|r| of_bench(r)) {
            belongs(rig, &used)?;
        }
        let Bench { rig, load, .. } = self.bench;
        Ok(Sound {
            capture: Box::new(BuiltIn::new(spec, rig.as_ref(), load.as_ref(), one_channel, seed)?),
            rate_hz,
            used,
            live: false,
        })
    }

    #[cfg(feature = "live")]
    fn live(&self) -> Result<Sound> {
        use crate::capture::live::{self, Live, Selection};

        let channels = self.channels();
        let stated = self.rig().and_then(|r| r.interface.clone()).unwrap_or_default();
        let (devices, defaults) = (&self.source.devices, self.defaults);
        let selection = Selection {
            output: devices
                .output
                .clone()
                .or(defaults.devices.output.clone())
                .or(stated.output),
            input: devices
                .input
                .clone()
                .or(defaults.devices.input.clone())
                .or(stated.input),
            pickup_channel: channels.pickup,
            reference_channel: channels.reference,
        };
        let by_rig = devices.first_given().is_none() && (selection.output.is_some() || selection.input.is_some());
        let missing = |e: Failure| match self.rig().filter(|r| by_rig && r.interface.is_some()) {
            Some(rig) => unplugged(rig, e),
            None => e,
        };
        let rate_hz = self.rate(|| live::default_rate(&selection)).map_err(missing)?;
        let used = used(live::check(&selection, rate_hz).map_err(missing)?, rate_hz, channels);
        if let Some(rig) = self.rig() {
            belongs(rig, &used)?;
        }
        crate::cli::console::catch(&self.stop);
        Ok(Sound {
            capture: Box::new(Live::new(selection, self.stop.clone())),
            rate_hz,
            used,
            live: true,
        })
    }

    #[cfg(not(feature = "live"))]
    fn live(&self) -> Result<Sound> {
        Err(Failure::new(
            "this coilwright was built without the sound card",
            "build it with the feature \"live\", or use --source sim",
        ))
    }
}

fn used([output, input]: [String; 2], rate_hz: u32, channels: Channels) -> Used {
    Used {
        output,
        input,
        rate_hz,
        pickup_channel: channels.pickup as u32,
        reference_channel: channels.reference.map(|r| r as u32),
    }
}

/// Whether a rig file is of the built-in bench, and of no real one.
pub fn of_bench(rig: &Rig) -> bool {
    let interface = rig.interface.clone().unwrap_or_default();
    let named = [interface.output, interface.input];
    named[0].is_some() && named.iter().flatten().all(|d| d == DEVICE)
}

/// The device that a rig is bound to is not there.
#[cfg(feature = "live")]
fn unplugged(rig: &Rig, why: Failure) -> Failure {
    if of_bench(rig) {
        return Failure::new(
            format!(
                "the rig {} was set up on the built-in bench, which is no interface",
                rig.name
            ),
            "give the real rig's file (`coilwright rig new FILE` makes one), or --source sim",
        );
    }
    Failure::new(
        format!("the rig {} cannot be played on: {}", rig.name, why.what),
        why.hint,
    )
}

/// What was measured on one interface says nothing of another.
fn belongs(rig: &Rig, used: &Used) -> Result<()> {
    match rig.foreign(used) {
        None => Ok(()),
        Some(f) => Err(Failure::new(
            format!(
                "the rig {} was measured with the {} {}, and this is {}",
                rig.name, f.what, f.stated, f.used
            ),
            "use that one, or measure this one with `coilwright rig inputs --replace`",
        )),
    }
}

/// No list of what the built-in bench holds is longer.
const MOST_BYTES: u64 = 1 << 20;

/// Where takes come from one after the other, and from the first again: what the built-in bench holds may be a file with a
/// description for each take.
pub struct Sources(Vec<Source>);

impl Sources {
    pub fn of(source: &Source) -> Result<Sources> {
        let file = source.sim.as_deref().map(Path::new);
        let Some(file) = file.filter(|f| f.extension().is_some_and(|e| e == "txt")) else {
            return Ok(Sources(vec![source.clone()]));
        };
        let text = fileio::read_text_limited(file, MOST_BYTES)?;
        let lines = text.lines().filter(|l| !l.trim().is_empty());
        let each = lines.map(|line| Source {
            sim: Some(line.to_owned()),
            ..source.clone()
        });
        match Vec::from_iter(each) {
            none if none.is_empty() => Err(Failure::new(
                format!("{} describes no pickup", file.display()),
                "write one for each line, such as r=6k l=2.4H cs=120p",
            )),
            some => Ok(Sources(some)),
        }
    }

    pub fn nth(&self, n: usize) -> Source {
        self.0[n % self.0.len()].clone()
    }
}

/// What a busy computer lost says nothing about the bench: then once more, and what comes twice is no chance.
pub fn once_more(console: &mut Console, mut attempt: impl FnMut(&mut Console) -> Result<Take>) -> Result<Take> {
    let take = attempt(console)?;
    if take.provenance.trouble.is_empty() || take.provenance.cause != Cause::Busy {
        return Ok(take);
    }
    console.remark("The computer was busy and lost some of the sound: once more.");
    attempt(console)
}

/// Said at the beginning of a sitting.
pub fn opening(source: &Source, console: &mut Console) {
    match source.is_sim() {
        true => console.remark("SIMULATED: the built-in bench, no real pickup."),
        false => caution(console),
    }
}

/// Said before the first sound.
pub fn caution(console: &mut Console) {
    console.remark("Headphones off your ears, loudspeakers and phantom power off; Ctrl-C stops it.");
}
