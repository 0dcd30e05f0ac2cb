//! The devices that there are, and how one is opened.

use std::collections::BTreeSet;

use cpal::traits::DeviceTrait;
use cpal::{BufferSize, StreamConfig, SupportedBufferSize, SupportedStreamConfigRange};

use super::find::{default_device, find, host, id_of, label_of, listed, name_of};
use super::refusal::{refused, words};
use super::selection::{Direction, Selection};
use super::wire;
use crate::failure::{Failure, Result};

/// Rates that a measurement may run at, in order of preference where a device has no say.
const RATES: [u32; 6] = [48_000, 96_000, 44_100, 88_200, 192_000, 176_400];

/// Bridges whose libraries write on standard error, past all handlers, when their server does not run.
const SHY: [&str; 1] = ["alsa:jack"];

/// One device in one direction.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceInfo {
    pub direction: Direction,
    pub name: String,
    /// What names it without doubt, e.g. after `--output`.
    pub id: String,
    /// Channel counts it can be opened with, ascending.
    pub channels: Vec<u16>,
    /// The common rates among those it offers, ascending. A device behind a sound server offers every rate and resamples.
    pub rates_hz: Vec<u32>,
    /// Sample formats, the preferred one first: "f32", "i16"...
    pub formats: Vec<String>,
    /// The system's default in this direction.
    pub default: bool,
    /// Would be used with the selection given.
    pub selected: bool,
    /// Why it cannot be opened now, in words; `channels`, `rates_hz` and `formats` are empty then.
    pub problem: Option<String>,
}

/// A device and the settings to open it with.
pub(super) struct Setup {
    pub device: cpal::Device,
    pub direction: Direction,
    /// Name and id for people.
    pub label: String,
    pub id: String,
    pub config: StreamConfig,
    pub format: cpal::SampleFormat,
}

fn offers(
    device: &cpal::Device,
    direction: Direction,
) -> std::result::Result<Vec<SupportedStreamConfigRange>, cpal::Error> {
    let spoken = |c: &SupportedStreamConfigRange| wire::rank(c.sample_format()).is_some();
    Ok(match direction {
        Direction::Output => device.supported_output_configs()?.filter(spoken).collect(),
        Direction::Input => device.supported_input_configs()?.filter(spoken).collect(),
    })
}

/// The common rates within `offers`, ascending.
fn common_rates(offers: &[SupportedStreamConfigRange]) -> Vec<u32> {
    let mut rates = RATES.to_vec();
    rates.retain(|&r| offers.iter().any(|o| runs_at(o, r)));
    rates.sort_unstable();
    rates
}

fn runs_at(offer: &SupportedStreamConfigRange, rate: u32) -> bool {
    (offer.min_sample_rate()..=offer.max_sample_rate()).contains(&rate)
}

fn numbers<T: ToString>(list: &[T]) -> String {
    list.iter().map(T::to_string).collect::<Vec<_>>().join(", ")
}

/// The best way to open `device` at `rate` with `channels` channels at least.
fn setup(device: cpal::Device, direction: Direction, rate: u32, channels: usize) -> Result<Setup> {
    let label = label_of(&device);
    let offers = offers(&device, direction).map_err(|e| refused(&label, direction, &e))?;
    let refuse = |why: &str, hint: &str| Failure::new(format!("the {} {label} {why}", direction.words()), hint);
    let another = format!("name another with {}", direction.option());
    let Some(most) = offers.iter().map(|o| usize::from(o.channels())).max() else {
        return Err(refuse("offers no sample format that is understood", &another));
    };
    if channels > most {
        let hint = match direction {
            Direction::Output => "choose one that it has",
            Direction::Input if channels == 2 => {
                "use an input with two channels, or --channels pickup=1 for a take of one channel"
            }
            Direction::Input => "choose others with --channels",
        };
        let plural = if most == 1 { "" } else { "s" };
        let why = format!("has {most} channel{plural}, and channel {channels} is asked for");
        return Err(refuse(&why, hint));
    }
    // Opening one channel of a device that has two can give digital silence without any error.
    let least = channels.max(2).min(most);
    let fitting = offers
        .iter()
        .filter(|o| usize::from(o.channels()) >= least && runs_at(o, rate));
    let Some(best) = fitting.min_by_key(|o| (wire::rank(o.sample_format()), o.channels())) else {
        let hint = match common_rates(&offers).as_slice() {
            [] => another,
            rates => format!("choose --rate among {} Hz", numbers(rates)),
        };
        return Err(refuse(&format!("does not run at {rate} Hz"), &hint));
    };
    // Blocks of 50 ms: larger than any stall seen on a busy machine, and far better than some defaults.
    let block = (rate / 20).max(1);
    let block = match *best.buffer_size() {
        SupportedBufferSize::Range { min, max } if min <= max => block.clamp(min.max(1), max.max(1)),
        _ => block,
    };
    Ok(Setup {
        config: StreamConfig {
            channels: best.channels(),
            sample_rate: rate,
            buffer_size: BufferSize::Fixed(block),
        },
        format: best.sample_format(),
        id: id_of(&device),
        device,
        direction,
        label,
    })
}

/// Output and input, ready to be opened.
pub(super) fn setups(selection: &Selection, rate: u32) -> Result<(Setup, Setup)> {
    selection.validate()?;
    let host = host()?;
    let one = |direction| {
        let device = find(&host, selection, direction)?;
        setup(device, direction, rate, selection.channels(direction))
    };
    Ok((one(Direction::Output)?, one(Direction::Input)?))
}

/// The rate of the input device's own choice if both devices run at it, else the first common one that both run at.
pub(super) fn default_rate(selection: &Selection) -> Result<u32> {
    selection.validate()?;
    let host = host()?;
    let output = find(&host, selection, Direction::Output)?;
    let input = find(&host, selection, Direction::Input)?;
    let own = input.default_input_config().ok().map(|c| c.sample_rate());
    let rates = |device: &cpal::Device, direction| {
        let offers = offers(device, direction).map_err(|e| refused(&label_of(device), direction, &e))?;
        Ok(common_rates(&offers))
    };
    let (out, inp) = (rates(&output, Direction::Output)?, rates(&input, Direction::Input)?);
    own.into_iter()
        .chain(RATES)
        .find(|r| out.contains(r) && inp.contains(r))
        .ok_or_else(|| {
            let [output, input] = [(&output, &out), (&input, &inp)];
            let of =
                |(device, rates): (&cpal::Device, &Vec<u32>)| format!("{} ({} Hz)", label_of(device), numbers(rates));
            Failure::new(
                format!(
                    "the sound output {} and the sound input {} have no common rate",
                    of(output),
                    of(input)
                ),
                "use one interface for both, or name others with --output and --input",
            )
        })
}

pub(super) fn devices(selection: &Selection) -> Result<Vec<DeviceInfo>> {
    selection.validate()?;
    let host = host()?;
    let mut all = Vec::new();
    for direction in Direction::BOTH {
        let mut found = listed(&host, direction)?;
        let default = default_device(&host, direction);
        let default_id = default.as_ref().map(id_of);
        let selected_id = match selection.wanted(direction) {
            Some(_) => Some(id_of(&find(&host, selection, direction)?)),
            None => default_id.clone(),
        };
        if let Some(default) = default
            && found.iter().all(|d| Some(id_of(d)) != default_id)
        {
            found.insert(0, default);
        }
        let one = |device| info(device, direction, [&default_id, &selected_id]);
        all.extend(found.iter().map(one));
    }
    Ok(all)
}

/// What a device says of itself, and whether it is the default, or the one selected.
fn info(device: &cpal::Device, direction: Direction, ids: [&Option<String>; 2]) -> DeviceInfo {
    let id = id_of(device);
    let [default, selected] = ids.map(|i| i.as_ref() == Some(&id));
    let opened = if SHY.contains(&id.as_str()) {
        Err("is not opened just to be listed".to_owned())
    } else {
        offers(device, direction).map_err(|e| words(&e))
    };
    let (offers, problem) = match opened {
        Ok(offers) if offers.is_empty() => (offers, Some("offers no sample format that is understood".into())),
        Ok(offers) => (offers, None),
        Err(why) => (Vec::new(), Some(why)),
    };
    let mut formats: Vec<_> = offers.iter().map(|o| o.sample_format()).collect();
    formats.sort_by_key(|f| wire::rank(*f));
    formats.dedup();
    DeviceInfo {
        direction,
        name: name_of(device),
        id,
        channels: offers
            .iter()
            .map(|o| o.channels())
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect(),
        rates_hz: common_rates(&offers),
        formats: formats.iter().map(ToString::to_string).collect(),
        default,
        selected,
        problem,
    }
}
