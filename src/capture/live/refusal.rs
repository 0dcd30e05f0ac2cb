//! The audio library's errors for people.

use cpal::ErrorKind;

use super::selection::Direction;
use crate::failure::Failure;

/// The library's error in words that fit after "the sound input X ...".
pub(super) fn words(e: &cpal::Error) -> String {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_gist_of_a_message() {
        assert_eq!(
            reason("ALSA function 'x' failed with error 'Connection refused (111)'"),
            "Connection refused"
        );
        assert_eq!(reason("no such luck (5)"), "no such luck (5)");
    }
}
