//! Which device a name means.

use cpal::DeviceId;
use cpal::traits::{DeviceTrait, HostTrait};

use super::refusal::words;
use super::selection::{Direction, Selection};
use crate::failure::{Failure, Result};

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

pub(super) fn id_of(device: &cpal::Device) -> String {
    device.id().map(|id| id.to_string()).unwrap_or_default()
}

pub(super) fn name_of(device: &cpal::Device) -> String {
    device
        .description()
        .map(|d| d.name().to_owned())
        .unwrap_or_else(|_| id_of(device))
}

pub(super) fn label_of(device: &cpal::Device) -> String {
    format!("'{}' ({})", name_of(device), id_of(device))
}

pub(super) fn default_device(host: &cpal::Host, direction: Direction) -> Option<cpal::Device> {
    match direction {
        Direction::Output => host.default_output_device(),
        Direction::Input => host.default_input_device(),
    }
}

pub(super) fn listed(host: &cpal::Host, direction: Direction) -> Result<Vec<cpal::Device>> {
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

/// The candidate (name, id) that `wanted` means. The first of these rules that fits any candidate decides: id, with or
/// without the sound system's prefix; name; either of them in any case; part of either in any case.
///
/// One card has many names on Linux (hw, plughw, front, surround...). Where all that fit are views of one device, the
/// direct one is meant: it resamples nothing behind our back. Where none is meant, all that might be.
fn choose(candidates: &[(String, String)], wanted: &str) -> std::result::Result<usize, Vec<usize>> {
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
            _ => return Err(fits),
        }
    }
    Err(Vec::new())
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

/// The device of that direction that the selection means.
pub(super) fn find(host: &cpal::Host, selection: &Selection, direction: Direction) -> Result<cpal::Device> {
    let (what, option) = (direction.words(), direction.option());
    let default = default_device(host, direction);
    let Some(wanted) = selection.wanted(direction) else {
        return default.ok_or_else(|| {
            let hint =
                format!("connect a sound interface, or name one with {option} (`coilwright devices` lists them)");
            Failure::new(format!("the system has no default {what}"), hint)
        });
    };
    let mut devices = listed(host, direction)?;
    if let Some(default) = default
        && devices.iter().all(|d| id_of(d) != id_of(&default))
    {
        devices.push(default);
    }
    let candidates: Vec<_> = devices.iter().map(|d| (name_of(d), id_of(d))).collect();
    let labels: Vec<_> = devices.iter().map(label_of).collect();
    match choose(&candidates, wanted) {
        Ok(i) => Ok(devices.swap_remove(i)),
        Err(fits) if !fits.is_empty() => {
            let fitting: Vec<_> = fits.iter().map(|i| labels[*i].clone()).collect();
            let what = format!("{option} '{wanted}' fits {} devices: {}", fits.len(), list(&fitting));
            Err(Failure::new(what, "give the id in brackets"))
        }
        Err(_) => {
            // Other spellings of an id, such as hw:0,0.
            let bare = wanted.strip_prefix(&format!("{}:", host.id())).unwrap_or(wanted);
            host.device_by_id(&DeviceId::new(host.id(), bare)).ok_or_else(|| {
                let hint = format!("there is: {}", list(&labels));
                Failure::new(format!("there is no {what} '{wanted}'"), hint)
            })
        }
    }
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
        assert_eq!(choose(&c, "ench"), Err(vec![0, 1, 2]));
        assert_eq!(choose(&c, "north"), Err(vec![]));
        assert_eq!(choose(&c, " "), Err(vec![]));
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
            matches!(choose(&c, "interface"), Err(fits) if !fits.is_empty()),
            "two of a kind"
        );
    }
}
