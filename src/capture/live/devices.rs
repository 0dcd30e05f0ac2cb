//! Which device is meant, and how it can be opened.

use std::ops::Range;

use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{BufferSize, DeviceId, ErrorKind, StreamConfig, SupportedBufferSize, SupportedStreamConfigRange};

use super::wire;
use crate::failure::{Failure, Result};

/// Rates that a measurement may run at, in order of preference where a device has no say.
const RATES: [u32; 6] = [48_000, 96_000, 44_100, 88_200, 192_000, 176_400];

/// Bridges whose libraries write on standard error, past all handlers, when their server does not run.
const SHY: [&str; 1] = ["alsa:jack"];

/// Which devices and channels to use. Channels count from 1, as sockets are labelled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Selection {
    /// Id, name or part of it; `None`: the system's default output.
    pub output: Option<String>,
    /// Id, name or part of it; `None`: the system's default input.
    pub input: Option<String>,
    /// Input channel that the pickup is on.
    pub pickup_channel: usize,
    /// Input channel that the reference is on; `None`: a take of one channel.
    pub reference_channel: Option<usize>,
    /// Output channel that plays the drive. `None`: the first two alike, left and right, so that it does not matter
    /// which of the pair is wired to the exciter, nor whether a headphone plug or a mono plug does it; further
    /// channels of a large interface stay silent, as somebody's loudspeakers may hang on them.
    pub output_channel: Option<usize>,
}

impl Default for Selection {
    fn default() -> Self {
        Selection {
            output: None,
            input: None,
            pickup_channel: 1,
            reference_channel: Some(2),
            output_channel: None,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    Output,
    Input,
}

impl Direction {
    /// "sound output" or "sound input".
    pub fn words(self) -> &'static str {
        match self {
            Direction::Output => "sound output",
            Direction::Input => "sound input",
        }
    }

    fn option(self) -> &'static str {
        match self {
            Direction::Output => "--output",
            Direction::Input => "--input",
        }
    }
}

/// Whether an id stands for whatever the system has as default, today this and tomorrow that: nothing to bind a rig to.
pub fn floats(id: &str) -> bool {
    let bare = id.strip_prefix("alsa:").unwrap_or(id);
    ["default", "sysdefault", "pulse", "pipewire", "jack"].contains(&bare)
}

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

/// ALSA where there is ALSA (other hosts report no lost samples there), else the platform's own.
pub(super) fn host() -> Result<cpal::Host> {
    let named = |id: &cpal::HostId| id.name().eq_ignore_ascii_case("alsa");
    let id = cpal::ALL_HOSTS.iter().find(|id| named(id)).or(cpal::ALL_HOSTS.first());
    let Some(&id) = id else {
        return Err(Failure::new(
            "no sound system is known here",
            "measure elsewhere and use `coilwright analyze`",
        ));
    };
    cpal::host_from_id(id).map_err(|e| {
        let what = format!("the sound system {} cannot be used: {}", id.name(), words(&e));
        Failure::new(what, "see whether other programs have sound")
    })
}

/// The library's error in words that fit after "the sound input X ...".
fn words(e: &cpal::Error) -> String {
    match e.kind() {
        ErrorKind::DeviceBusy => "is in use by another program".into(),
        ErrorKind::DeviceNotAvailable => "is not there".into(),
        ErrorKind::PermissionDenied => "may not be used by this user".into(),
        ErrorKind::HostUnavailable => "has no sound system behind it".into(),
        ErrorKind::UnsupportedOperation => "does not work in this direction".into(),
        ErrorKind::UnsupportedConfig | ErrorKind::InvalidInput => "does not take these settings".into(),
        _ => format!("does not open: {}", reason(&e.to_string())),
    }
}

/// The gist of "ALSA function '...' failed with error 'Connection refused (111)'".
fn reason(message: &str) -> &str {
    let Some((_, rest)) = message.split_once("failed with error '") else {
        return message;
    };
    rest.trim_end_matches('\'')
        .rsplit_once(" (")
        .map_or(rest, |(gist, _)| gist)
}

fn remedy(e: &cpal::Error, direction: Direction) -> String {
    let option = direction.option();
    match e.kind() {
        ErrorKind::DeviceBusy => "close the other program, or name another device".into(),
        ErrorKind::PermissionDenied => {
            "allow this program to use the microphone (Linux: add the user to the group audio)".into()
        }
        ErrorKind::UnsupportedConfig | ErrorKind::InvalidInput => "try another --rate, or another device".into(),
        _ => format!("connect it, or name another with {option} (`coilwright devices` lists them)"),
    }
}

pub(super) fn refused(label: &str, direction: Direction, e: &cpal::Error) -> Failure {
    // What a bridge to a sound server says where no server listens.
    if e.to_string().contains("Connection refused") {
        return Failure::new(
            format!(
                "the sound system has stopped, or was never started: the {} {label} finds none",
                direction.words()
            ),
            "restart it, then measure again",
        );
    }
    Failure::new(
        format!("the {} {label} {}", direction.words(), words(e)),
        remedy(e, direction),
    )
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

fn id_of(device: &cpal::Device) -> String {
    device.id().map(|id| id.to_string()).unwrap_or_default()
}

fn name_of(device: &cpal::Device) -> String {
    device
        .description()
        .map(|d| d.name().to_owned())
        .unwrap_or_else(|_| id_of(device))
}

fn label_of(device: &cpal::Device) -> String {
    format!("'{}' ({})", name_of(device), id_of(device))
}

fn default_device(host: &cpal::Host, direction: Direction) -> Option<cpal::Device> {
    match direction {
        Direction::Output => host.default_output_device(),
        Direction::Input => host.default_input_device(),
    }
}

fn listed(host: &cpal::Host, direction: Direction) -> Result<Vec<cpal::Device>> {
    let devices = host.devices().map_err(|e| {
        Failure::new(
            format!("the sound devices cannot be listed: {e}"),
            "see whether other programs have sound",
        )
    })?;
    Ok(devices
        .filter(|d| match direction {
            Direction::Output => d.supports_output(),
            Direction::Input => d.supports_input(),
        })
        .collect())
}

/// Why a name picks no device.
#[derive(Debug, PartialEq, Eq)]
enum Miss {
    Unknown,
    Ambiguous(Vec<usize>),
}

/// The candidate (name, id) that `wanted` means. The first of these rules that fits any candidate decides: id, with or
/// without the sound system's prefix; name; either of them in any case; part of either in any case.
///
/// One card has many names on Linux (hw, plughw, front, surround...). Where all that fit are views of one device, the
/// direct one is meant: it resamples nothing behind our back.
fn choose(candidates: &[(String, String)], wanted: &str) -> std::result::Result<usize, Miss> {
    let lower = wanted.trim().to_lowercase();
    let bare = |id: &str| id.split_once(':').map_or(id, |(_, rest)| rest).to_owned();
    type Rule<'a> = &'a dyn Fn(&str, &str) -> bool;
    let rules: [Rule; 4] = [
        &|_, id| id == wanted || bare(id) == wanted,
        &|name, _| name == wanted,
        &|name, id| name.to_lowercase() == lower || id.to_lowercase() == lower || bare(id).to_lowercase() == lower,
        &|name, id| !lower.is_empty() && (name.to_lowercase().contains(&lower) || id.to_lowercase().contains(&lower)),
    ];
    for rule in rules {
        let fits: Vec<usize> = (0..candidates.len())
            .filter(|&i| rule(&candidates[i].0, &candidates[i].1))
            .collect();
        let direct: Vec<usize> = fits
            .iter()
            .copied()
            .filter(|&i| is_direct(&bare(&candidates[i].1)))
            .collect();
        let one_name = fits.iter().all(|&i| candidates[i].0 == candidates[fits[0]].0);
        match (fits.as_slice(), direct.as_slice()) {
            ([], _) => continue,
            (&[only], _) => return Ok(only),
            (_, &[only]) if one_name => return Ok(only),
            _ => return Err(Miss::Ambiguous(fits)),
        }
    }
    Err(Miss::Unknown)
}

/// `hw:CARD=name,DEV=n`; the same by number is the second entry of one and the same device.
fn is_direct(bare_id: &str) -> bool {
    let Some(rest) = bare_id.strip_prefix("hw:CARD=") else {
        return false;
    };
    rest.split(',').next().is_some_and(|card| card.parse::<u32>().is_err())
}

/// A short list on one line.
fn list(labels: &[String]) -> String {
    const SHOWN: usize = 6;
    match labels.len() {
        0 => "none".into(),
        n if n <= SHOWN => labels.join(", "),
        n => format!(
            "{} and {} more (`coilwright devices` lists them)",
            labels[..SHOWN].join(", "),
            n - SHOWN
        ),
    }
}

fn find(host: &cpal::Host, wanted: Option<&str>, direction: Direction) -> Result<cpal::Device> {
    let (what, option) = (direction.words(), direction.option());
    let Some(wanted) = wanted else {
        return default_device(host, direction).ok_or_else(|| {
            let hint =
                format!("connect a sound interface, or name one with {option} (`coilwright devices` lists them)");
            Failure::new(format!("the system has no default {what}"), hint)
        });
    };
    let mut devices = listed(host, direction)?;
    let mut candidates: Vec<_> = devices.iter().map(|d| (name_of(d), id_of(d))).collect();
    if let Some(default) = default_device(host, direction)
        && candidates.iter().all(|(_, id)| *id != id_of(&default))
    {
        candidates.push((name_of(&default), id_of(&default)));
        devices.push(default);
    }
    let labels =
        |which: &mut dyn Iterator<Item = usize>| list(&which.map(|i| label_of(&devices[i])).collect::<Vec<_>>());
    match choose(&candidates, wanted) {
        Ok(i) => Ok(devices.swap_remove(i)),
        Err(Miss::Ambiguous(fits)) => Err(Failure::new(
            format!(
                "{option} '{wanted}' fits {} devices: {}",
                fits.len(),
                labels(&mut fits.into_iter())
            ),
            "give the id in brackets",
        )),
        Err(Miss::Unknown) => {
            // Other spellings of an id, such as hw:0,0.
            let bare = wanted.strip_prefix(&format!("{}:", host.id())).unwrap_or(wanted);
            match host.device_by_id(&DeviceId::new(host.id(), bare)) {
                Some(device) => Ok(device),
                None => Err(Failure::new(
                    format!("there is no {what} '{wanted}'"),
                    format!("there is: {}", labels(&mut (0..devices.len()))),
                )),
            }
        }
    }
}

/// The common rates within `offers`, ascending.
fn common_rates(offers: &[SupportedStreamConfigRange]) -> Vec<u32> {
    let mut rates: Vec<u32> = RATES
        .iter()
        .copied()
        .filter(|&r| offers.iter().any(|o| runs_at(o, r)))
        .collect();
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
    let what = direction.words();
    let offers = offers(&device, direction).map_err(|e| refused(&label, direction, &e))?;
    let Some(most) = offers.iter().map(|o| usize::from(o.channels())).max() else {
        return Err(Failure::new(
            format!("the {what} {label} offers no sample format that is understood"),
            format!("name another with {}", direction.option()),
        ));
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
        return Err(Failure::new(
            format!("the {what} {label} has {most} channel{plural}, and channel {channels} is asked for"),
            hint,
        ));
    }
    // Opening one channel of a device that has two can give digital silence without any error.
    let least = channels.max(2).min(most);
    let fitting = offers
        .iter()
        .filter(|o| usize::from(o.channels()) >= least && runs_at(o, rate));
    let Some(best) = fitting.min_by_key(|o| (wire::rank(o.sample_format()), o.channels())) else {
        let rates = common_rates(&offers);
        return Err(Failure::new(
            format!("the {what} {label} does not run at {rate} Hz"),
            if rates.is_empty() {
                format!("name another with {}", direction.option())
            } else {
                format!("choose --rate among {} Hz", numbers(&rates))
            },
        ));
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

impl Selection {
    /// Channel numbers that no device can have.
    pub(super) fn validate(&self) -> Result<()> {
        let all = [
            Some(("pickup", self.pickup_channel)),
            self.reference_channel.map(|c| ("reference", c)),
            self.output_channel.map(|c| ("output", c)),
        ];
        for (name, channel) in all.into_iter().flatten() {
            if !(1..=256).contains(&channel) {
                return Err(Failure::new(
                    format!("there is no {name} channel {channel}"),
                    "channels count from 1, as the sockets are labelled",
                ));
            }
        }
        if self.reference_channel == Some(self.pickup_channel) {
            return Err(Failure::new(
                format!("pickup and reference are both on channel {}", self.pickup_channel),
                "give each its own, e.g. --channels pickup=1,reference=2",
            ));
        }
        Ok(())
    }

    pub(super) fn played_on(&self, channels: usize) -> Range<usize> {
        match self.output_channel {
            Some(c) => c - 1..c,
            None => 0..channels.min(2),
        }
    }

    fn channels(&self, direction: Direction) -> usize {
        match direction {
            Direction::Output => self.output_channel.unwrap_or(1),
            Direction::Input => self.pickup_channel.max(self.reference_channel.unwrap_or(1)),
        }
    }

    fn wanted(&self, direction: Direction) -> Option<&str> {
        match direction {
            Direction::Output => self.output.as_deref(),
            Direction::Input => self.input.as_deref(),
        }
    }

    /// Both devices, ready to be opened.
    pub(super) fn setups(&self, rate: u32) -> Result<(Setup, Setup)> {
        self.validate()?;
        let host = host()?;
        let one = |direction| {
            let device = find(&host, self.wanted(direction), direction)?;
            setup(device, direction, rate, self.channels(direction))
        };
        Ok((one(Direction::Output)?, one(Direction::Input)?))
    }
}

/// The rate of the input device's own choice if both devices run at it, else the first common one that both run at.
pub(super) fn default_rate(selection: &Selection) -> Result<u32> {
    selection.validate()?;
    let host = host()?;
    let output = find(&host, selection.wanted(Direction::Output), Direction::Output)?;
    let input = find(&host, selection.wanted(Direction::Input), Direction::Input)?;
    let own = input.default_input_config().ok().map(|c| c.sample_rate());
    let out = offers(&output, Direction::Output).map_err(|e| refused(&label_of(&output), Direction::Output, &e))?;
    let inp = offers(&input, Direction::Input).map_err(|e| refused(&label_of(&input), Direction::Input, &e))?;
    let (out, inp) = (common_rates(&out), common_rates(&inp));
    own.into_iter()
        .chain(RATES)
        .find(|r| out.contains(r) && inp.contains(r))
        .ok_or_else(|| {
            let what = format!(
                "the sound output {} ({} Hz) and the sound input {} ({} Hz) have no common rate",
                label_of(&output),
                numbers(&out),
                label_of(&input),
                numbers(&inp)
            );
            Failure::new(
                what,
                "use one interface for both, or name others with --output and --input",
            )
        })
}

pub(super) fn devices(selection: &Selection) -> Result<Vec<DeviceInfo>> {
    selection.validate()?;
    let host = host()?;
    let mut all = Vec::new();
    for direction in [Direction::Output, Direction::Input] {
        let mut found = listed(&host, direction)?;
        let default = default_device(&host, direction);
        let default_id = default.as_ref().map(id_of);
        let selected_id = match selection.wanted(direction) {
            Some(_) => Some(id_of(&find(&host, selection.wanted(direction), direction)?)),
            None => default_id.clone(),
        };
        if let Some(default) = default
            && found.iter().all(|d| Some(id_of(d)) != default_id)
        {
            found.insert(0, default);
        }
        for device in found {
            let id = id_of(&device);
            let opened = if SHY.contains(&id.as_str()) {
                Err("is not opened just to be listed".to_owned())
            } else {
                offers(&device, direction).map_err(|e| words(&e))
            };
            let (offers, problem) = match opened {
                Ok(offers) if offers.is_empty() => (offers, Some("offers no sample format that is understood".into())),
                Ok(offers) => (offers, None),
                Err(why) => (Vec::new(), Some(why)),
            };
            let mut channels: Vec<u16> = offers.iter().map(|o| o.channels()).collect();
            channels.sort_unstable();
            channels.dedup();
            let mut formats: Vec<_> = offers.iter().map(|o| o.sample_format()).collect();
            formats.sort_by_key(|f| wire::rank(*f));
            formats.dedup();
            all.push(DeviceInfo {
                direction,
                name: name_of(&device),
                channels,
                rates_hz: common_rates(&offers),
                formats: formats.iter().map(ToString::to_string).collect(),
                default: Some(&id) == default_id.as_ref(),
                selected: Some(&id) == selected_id.as_ref(),
                problem,
                id,
            });
        }
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn candidates(list: &[(&str, &str)]) -> Vec<(String, String)> {
        list.iter().map(|(a, b)| (a.to_string(), b.to_string())).collect()
    }

    #[test]
    fn a_name_means_one_device_or_none() {
        let c = candidates(&[
            ("Bench Output", "alsa:bench_out"),
            ("Bench Input", "alsa:bench_in"),
            ("bench", "alsa:x"),
            ("Default Audio Device", "alsa:default"),
        ]);
        assert_eq!(choose(&c, "alsa:bench_in"), Ok(1));
        assert_eq!(choose(&c, "bench_in"), Ok(1));
        assert_eq!(choose(&c, "Bench Output"), Ok(0));
        assert_eq!(choose(&c, "BENCH OUTPUT"), Ok(0));
        assert_eq!(choose(&c, "bench"), Ok(2), "a whole name goes before a part");
        assert_eq!(choose(&c, "output"), Ok(0));
        assert_eq!(choose(&c, "default"), Ok(3));
        assert_eq!(choose(&c, "ench"), Err(Miss::Ambiguous(vec![0, 1, 2])));
        assert_eq!(choose(&c, "north"), Err(Miss::Unknown));
        assert_eq!(choose(&c, " "), Err(Miss::Unknown));
    }

    #[test]
    fn of_the_views_of_one_card_the_direct_one_is_meant() {
        let mut c = candidates(&[
            ("Some Interface, USB Audio", "alsa:sysdefault:CARD=Some"),
            ("Some Interface, USB Audio", "alsa:front:CARD=Some,DEV=0"),
            ("Some Interface, USB Audio", "alsa:hw:CARD=Some,DEV=0"),
            ("Some Interface, USB Audio", "alsa:plughw:CARD=Some,DEV=0"),
            ("Some Interface, USB Audio", "alsa:hw:CARD=1,DEV=0"),
        ]);
        assert_eq!(choose(&c, "interface"), Ok(2));
        assert_eq!(choose(&c, "plughw:CARD=Some,DEV=0"), Ok(3));
        c.extend(candidates(&[(
            "Some Interface, USB Audio",
            "alsa:hw:CARD=Some_1,DEV=0",
        )]));
        assert!(
            matches!(choose(&c, "interface"), Err(Miss::Ambiguous(_))),
            "two of a kind"
        );
    }

    #[test]
    fn the_gist_of_a_message() {
        assert_eq!(
            reason("ALSA function 'x' failed with error 'Connection refused (111)'"),
            "Connection refused"
        );
        assert_eq!(reason("no such luck (5)"), "no such luck (5)");
    }

    #[test]
    fn a_default_is_no_interface() {
        for id in ["alsa:default", "alsa:pulse", "alsa:sysdefault"] {
            assert!(floats(id), "{id}");
        }
        for id in ["alsa:hw:CARD=Some,DEV=0", "alsa:sysdefault:CARD=Some", "alsa:bench_out"] {
            assert!(!floats(id), "{id}");
        }
    }

    #[test]
    fn channels_that_cannot_be() {
        let fine = Selection::default();
        assert!(fine.validate().is_ok());
        let same = Selection {
            reference_channel: Some(1),
            ..fine.clone()
        };
        assert!(same.validate().unwrap_err().to_string().contains("both on channel 1"));
        let zero = Selection {
            output_channel: Some(0),
            ..fine
        };
        assert!(
            zero.validate()
                .unwrap_err()
                .to_string()
                .starts_with("there is no output channel 0")
        );
    }

    #[test]
    fn the_drive_goes_left_and_right_or_where_it_is_told() {
        assert_eq!(Selection::default().played_on(8), 0..2);
        assert_eq!(Selection::default().played_on(1), 0..1);
        assert_eq!(
            Selection {
                output_channel: Some(4),
                ..Selection::default()
            }
            .played_on(8),
            3..4
        );
    }
}
