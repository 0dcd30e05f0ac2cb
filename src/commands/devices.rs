//! `devices`: what sound devices there are, and which pair would be used.

use crate::cli::args::DevicesArgs;
use crate::commands::prelude::*;

#[cfg(feature = "live")]
pub fn run(args: &DevicesArgs, console: &mut Console) -> Result<Status> {
    use crate::capture::live::{self, DeviceInfo, Direction, Selection};
    let selection = Selection {
        output: args.devices.output.clone(),
        input: args.devices.input.clone(),
        ..Selection::default()
    };
    let list = live::devices(&selection)?;
    if args.shown.json {
        let entry = |d: &DeviceInfo| {
            serde_json::json!({
                "direction": match d.direction { Direction::Output => "output", Direction::Input => "input" },
                "name": d.name, "id": d.id, "channels": d.channels, "rates_hz": d.rates_hz, "formats": d.formats,
                "default": d.default, "selected": d.selected, "problem": d.problem,
            })
        };
        let devices: Vec<_> = list.iter().map(entry).collect();
        console.json(&serde_json::json!({ "schema": "coilwright/devices/1", "devices": devices }))?;
        return Ok(Status::Done);
    }
    let mut text = String::new();
    for (direction, title, option) in [
        (Direction::Output, "Outputs", "--output"),
        (Direction::Input, "Inputs", "--input"),
    ] {
        text.push_str(&format!("{title} ({option})\n"));
        let mut here: Vec<_> = list.iter().filter(|d| d.direction == direction).collect();
        if here.is_empty() {
            text.push_str("  none found: plug the interface in, or start the sound system\n");
        }
        // What can be used comes first.
        here.sort_by_key(|d| d.problem.is_some());
        for d in here {
            let mark = if d.selected { "*" } else { " " };
            let default = if d.default { ", the system's default" } else { "" };
            text.push_str(&format!("{mark} {}  [{}{default}]\n", d.name, d.id));
            match &d.problem {
                Some(p) => text.push_str(&format!("    cannot be opened: it {p}\n")),
                None => {
                    let rates = d.rates_hz.iter().map(|r| format!("{}k", f64::from(*r) / 1000.0));
                    let (channels, rates) = (ranges(&d.channels), Vec::from_iter(rates).join(" "));
                    let formats = d.formats.join(" ");
                    text.push_str(&format!("    channels {channels}; rates {rates}; {formats}\n"));
                }
            }
        }
    }
    text.push_str(
        "* is used unless you name another. --output and --input take a name, or a part of it that fits one only.\n",
    );
    console.words(&text)?;
    Ok(Status::Done)
}

/// "1-8" for a run of channel counts.
#[cfg(feature = "live")]
fn ranges(counts: &[u16]) -> String {
    match (counts.first(), counts.last()) {
        (Some(a), Some(b)) if counts.len() > 2 => format!("{a}-{b}"),
        _ => counts.iter().map(u16::to_string).collect::<Vec<_>>().join(", "),
    }
}

#[cfg(not(feature = "live"))]
pub fn run(_args: &DevicesArgs, _console: &mut Console) -> Result<Status> {
    Err(crate::failure::Failure::new(
        "this coilwright was built without the sound card",
        "build it with the feature \"live\", or analyse recordings",
    ))
}
