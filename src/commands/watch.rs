//! `watch`: a pickup's curve while it is handled, in the terminal and on a page.

use std::ops::ControlFlow;
use std::time::{Duration, Instant};

use super::outcome;
use super::sound;
use crate::cli::args::{Job, WatchArgs};
use crate::cli::picture::Picture;
use crate::cli::strokes::{Raw, Stroke, Strokes};
use crate::commands::prelude::*;
use crate::report::watch::{self as shown, Seen, View};
use crate::watch::document::{Figures, Held, Kept, MOST_HELD, SCHEMA, Watched};
use crate::watch::{Pace, Reading, Unread, Watch};
use place::{Place, Turned};
use serve::Page;

mod place;
mod serve;

const KEYS: &str = "space hold  n name  c let go  k keep  q end";
const KEYS_OF_BENCH: &str = "space hold  n name  c let go  k keep  q end  arrows: pot, cable";
/// Characters of a name that is typed.
const LONGEST_NAME: usize = 40;

pub fn run(args: &WatchArgs, console: &mut Console) -> Result<Status> {
    let place = Place::plan(args, console)?;
    let page = args.page.then(|| Page::open(args.port)).transpose()?;
    sound::caution(console);
    console.remark("It sounds until you end it with q.");
    if let Some(page) = &page {
        console.remark(&format!("On this computer only: {}", page.address));
    }
    let mut seat = Seat::new(args, place, page);
    let ended = seat.go(console);
    seat.picture.leave();
    seat.tell(console, ended)
}

/// So long keys that are piped in wait for something that stands.
const PATIENCE: Duration = Duration::from_secs(20);

/// What a key asked for, until something stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wanted {
    Hold,
    Keep,
}

struct Seat<'a> {
    args: &'a WatchArgs,
    place: Place,
    page: Option<Page>,
    watch: Watch,
    strokes: Strokes,
    picture: Picture,
    reading: Option<std::result::Result<Reading, Unread>>,
    /// And since when.
    wanted: Option<(Wanted, Instant)>,
    /// A name that is being typed.
    naming: Option<String>,
    said: String,
    /// The line that was written last, where there is no picture.
    line: String,
    /// What came of it so far.
    watched: Watched,
    folders: Vec<PathBuf>,
}

impl<'a> Seat<'a> {
    fn new(args: &'a WatchArgs, place: Place, page: Option<Page>) -> Self {
        Seat {
            watch: Watch::new(&place.round, place.bench.chain.clone(), args.over),
            strokes: Strokes::new(place.stop.clone()),
            watched: Watched {
                schema: SCHEMA.into(),
                pickup: args.name.clone().unwrap_or_default(),
                simulated: !place.live,
                over_s: args.over,
                readings: 0,
                last: None,
                held: Vec::new(),
                kept: Vec::new(),
            },
            args,
            place,
            page,
            picture: Picture::default(),
            reading: None,
            wanted: None,
            naming: None,
            said: String::new(),
            line: String::new(),
            folders: Vec::new(),
        }
    }

    fn go(&mut self, console: &mut Console) -> Result<()> {
        let until = self.args.for_s.map(|s| Instant::now() + Duration::from_secs_f64(s));
        let mut raw = None;
        loop {
            // Before anything sounds the terminal is as it was, and Ctrl-C a signal.
            if !self.place.sounds() {
                self.place.begin()?;
                self.watch.forget();
                raw = Raw::enter();
            }
            match self.place.next() {
                Err(_) if self.place.stop.asked() => return Ok(()),
                Err(failure) => return Err(failure),
                Ok(rounds) => self.see(&rounds),
            }
            // What was asked for is of what came after it was asked.
            if self.wants(Wanted::Keep) && self.stands().is_some() {
                self.wanted = None;
                drop(raw.take());
                self.picture.leave();
                if self.keep(console)?.is_break() {
                    return Ok(());
                }
            }
            self.hold_if_wanted();
            if self.act().is_break() || self.place.stop.asked() || until.is_some_and(|t| Instant::now() >= t) {
                return Ok(());
            }
            self.waits()?;
            self.show(console)?;
            if console.unread() {
                return Ok(());
            }
        }
    }

    fn see(&mut self, rounds: &[[Vec<f32>; 2]]) {
        for round in rounds {
            self.watch.see(round);
        }
        self.reading = (self.watch.pace() != Pace::Moving).then(|| self.watch.read());
        self.watched.readings += u64::from(matches!(self.reading, Some(Ok(_))));
        let last = self.stands().map(|r| r.figures.clone());
        self.watched.last = last.or(self.watched.last.take());
    }

    /// The reading, where it spans no change.
    fn stands(&self) -> Option<&Reading> {
        let steady = self.watch.pace() == Pace::Steady;
        self.reading.as_ref()?.as_ref().ok().filter(|_| steady)
    }

    /// Nobody sits there who could give up.
    fn waits(&self) -> Result<()> {
        let long = self.wanted.is_some_and(|(_, at)| at.elapsed() > PATIENCE);
        match long && !self.strokes.by_hand {
            true => Err(Failure::new(
                format!(
                    "nothing stood still for {} s, so what the keys asked for was not done",
                    PATIENCE.as_secs()
                ),
                "see that a pickup is heard, and type the keys again",
            )),
            false => Ok(()),
        }
    }

    /// What was struck, until it is to end.
    fn act(&mut self) -> ControlFlow<()> {
        // Whoever sits at it may change his mind; what is piped in waits for what it asked for.
        while self.strokes.by_hand || self.wanted.is_none() {
            let Some(stroke) = self.strokes.struck() else { break };
            self.struck(stroke)?;
        }
        ControlFlow::Continue(())
    }

    fn struck(&mut self, stroke: Stroke) -> ControlFlow<()> {
        match stroke {
            Stroke::End if self.args.for_s.is_some() && !self.strokes.by_hand => {}
            Stroke::End => return ControlFlow::Break(()),
            stroke if self.naming.is_some() => self.type_name(stroke),
            Stroke::Char('q') => return ControlFlow::Break(()),
            Stroke::Char(' ') if self.watched.held.len() == MOST_HELD => {
                self.said = "four are held: c lets them go".into();
            }
            Stroke::Char(' ') => self.want(Wanted::Hold, "holds it when it stands"),
            Stroke::Char('k') if self.args.name.is_none() => {
                self.said = "nothing is kept without a name: coilwright watch NAME".into();
            }
            Stroke::Char('k') => self.want(Wanted::Keep, "keeps a record when it stands"),
            Stroke::Char('c') => self.watched.held.clear(),
            Stroke::Char('n') => match self.watched.held.is_empty() {
                true => self.said = "hold one first: space".into(),
                false => self.ask_name(String::new()),
            },
            Stroke::Left => self.said = self.place.turn(Turned::Pot(-1)),
            Stroke::Right => self.said = self.place.turn(Turned::Pot(1)),
            Stroke::Up => self.said = self.place.turn(Turned::Cable(1)),
            Stroke::Down => self.said = self.place.turn(Turned::Cable(-1)),
            _ => {}
        }
        ControlFlow::Continue(())
    }

    fn want(&mut self, wanted: Wanted, words: &str) {
        self.wanted = Some((wanted, Instant::now()));
        self.said = words.into();
    }

    fn wants(&self, wanted: Wanted) -> bool {
        self.wanted.is_some_and(|w| w.0 == wanted)
    }

    fn ask_name(&mut self, typed: String) {
        self.said = format!("name, then Enter: {typed}");
        self.naming = Some(typed);
    }

    fn type_name(&mut self, stroke: Stroke) {
        let mut typed = self.naming.take().unwrap_or_default();
        match stroke {
            Stroke::Enter => {
                let typed = typed.trim();
                if let Some(held) = self.watched.held.last_mut().filter(|_| !typed.is_empty()) {
                    held.name = typed.to_owned();
                }
                self.said.clear();
                return;
            }
            Stroke::Erase => drop(typed.pop()),
            Stroke::Char(c) if typed.chars().count() < LONGEST_NAME => typed.push(c),
            _ => {}
        }
        self.ask_name(typed);
    }

    fn hold_if_wanted(&mut self) {
        let Some(reading) = self.stands().filter(|_| self.wants(Wanted::Hold)).cloned() else {
            return;
        };
        let held = &mut self.watched.held;
        let free = ('A'..).find(|m| held.iter().all(|h| h.mark != *m));
        let mark = free.unwrap_or('A');
        held.push(Held {
            mark,
            name: self.place.load_words().unwrap_or_else(|| format!("curve {mark}")),
            figures: reading.figures,
            curve: reading.curve,
            difference: None,
        });
        self.wanted = None;
        self.said = format!("{mark} is held");
    }

    fn view(&self) -> View {
        let load = self.place.load_words();
        shown::view(&Seen {
            pickup: self.args.name.as_deref().unwrap_or("no name"),
            simulated: !self.place.live,
            pace: self.watch.pace(),
            reading: self.reading.as_ref(),
            held: &self.watched.held,
            load: load.as_deref(),
            said: &self.said,
        })
    }

    fn show(&mut self, console: &mut Console) -> Result<()> {
        let view = self.view();
        if let Some(page) = &self.page {
            page.show(shown::page::now(&view)?);
        }
        if self.args.shown.json {
            return Ok(());
        }
        match Picture::room() {
            Some(room) => self.draw(&view, room),
            None => self.write(&view, console),
        }
    }

    fn draw(&mut self, view: &View, room: (usize, usize)) -> Result<()> {
        let keys = if self.place.live { KEYS } else { KEYS_OF_BENCH };
        let drawn = self.picture.draw(&shown::frame(view, keys, room));
        drawn.map_err(|e| Failure::new(format!("the terminal cannot be drawn on: {e}"), "begin again"))
    }

    /// One line for each reading; what is said twice is written once.
    fn write(&mut self, view: &View, console: &mut Console) -> Result<()> {
        let line = shown::line(view);
        if line != self.line || !view.figures.is_empty() {
            console.result(&format!("{line}\n"))?;
        }
        self.line = line;
        Ok(())
    }

    /// The ordinary measurement: silence, one take, silence. Then it goes on.
    fn keep(&mut self, console: &mut Console) -> Result<ControlFlow<()>> {
        let (Some(live), Some(name)) = (self.watched.last.clone(), &self.args.name) else {
            return Ok(ControlFlow::Continue(()));
        };
        self.place.silence();
        if let Some(page) = &self.page {
            page.show(shown::page::now(&self.view().keeping())?);
        }
        let job = Job {
            about: self.place.about(),
            source: self.args.source.clone(),
            drive: self.place.drive.clone(),
            ..Job::default()
        };
        match super::measure::taken(name, &job, console) {
            Err(failure) => {
                console.error(&failure);
                self.said = format!("nothing was kept: {}", failure.what);
                self.place.stop.heed();
            }
            Ok(measured) => {
                let folder = measured.folder.display().to_string();
                let (figures, budget) = (&measured.record.resonance, &measured.record.budget);
                let figures = figures.as_ref().map(Figures::from);
                let difference = figures.as_ref().map(|f| f.less(&live));
                let agrees = figures.as_ref().zip(budget.as_ref()).map(|(f, b)| f.agree(&live, b));
                self.said = shown::kept(&folder, figures.as_ref(), agrees);
                console.remark(&self.said);
                self.folders.push(measured.folder);
                self.watched.kept.push(Kept {
                    folder,
                    id: measured.record.id,
                    live,
                    difference,
                    agrees,
                });
            }
        }
        Ok(match self.place.stop.for_good() {
            true => ControlFlow::Break(()),
            false => ControlFlow::Continue(()),
        })
    }

    /// What was held and kept; where something went wrong, that, and what is kept all the same.
    fn tell(mut self, console: &mut Console, ended: Result<()>) -> Result<Status> {
        self.place.silence();
        drop(self.page.take());
        outcome::draw_missing(&self.folders, console);
        let watched = &mut self.watched;
        for h in &mut watched.held {
            h.difference = watched.last.as_ref().map(|l| l.less(&h.figures));
        }
        if let Err(failure) = ended {
            let text = shown::ended(watched);
            if !text.trim_end().is_empty() {
                console.remark(text.trim_end());
            }
            return Err(failure);
        }
        outcome::say(&self.watched, self.args.shown, console, |w, _| shown::ended(w))
    }
}
