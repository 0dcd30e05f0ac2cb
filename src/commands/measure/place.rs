//! Where a record goes.

use crate::book::word::folder_name;
use crate::cli::args::Job;
use crate::cli::context::Fresh;
use crate::commands::outcome;
use crate::commands::prelude::*;

pub enum Place {
    /// As given with --out.
    Given(PathBuf),
    /// The next number in the pickup's folder.
    Numbered(PathBuf),
}

impl Place {
    /// Checks before anything sounds that the record can be written.
    pub fn plan(pickup: &str, job: &Job, defaults: &Defaults, fresh: &mut Fresh) -> Result<Self> {
        if let Some(out) = &job.out {
            outcome::refuse_occupied(out, job.repeats as usize)?;
            return Ok(Place::Given(fresh.ready(out)?));
        }
        let notebook = defaults.folder.clone().unwrap_or_else(|| PathBuf::from("."));
        let notebook = fresh.ready(&notebook)?;
        Ok(Place::Numbered(fresh.ready(&notebook.join(folder_name(pickup)?))?))
    }

    /// The folder itself; a number is taken only now, so that a stopped measurement leaves no gap.
    pub fn folder(&self, fresh: &mut Fresh) -> Result<PathBuf> {
        let parent = match self {
            Place::Given(folder) => return Ok(folder.clone()),
            Place::Numbered(parent) => parent,
        };
        let list = std::fs::read_dir(parent).map_err(|e| Failure::io("read", parent, &e))?;
        let last = list
            .flatten()
            .filter_map(|e| e.file_name().to_string_lossy().parse::<u32>().ok())
            .max()
            .unwrap_or(0);
        for n in last + 1..last + 1000 {
            let folder = parent.join(format!("{n:04}"));
            match std::fs::create_dir(&folder) {
                Ok(()) => return Ok(fresh.made(folder)),
                // Somebody else was faster: the next number then.
                Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(Failure::io("make", &folder, &e)),
            }
        }
        Err(Failure::new(
            format!("no free number in {}", parent.display()),
            "give a folder with --out",
        ))
    }
}
