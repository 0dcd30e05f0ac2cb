//! How often something is said, held against how often it may be or has to be.

/// How often something was said, and how often it may be or has to be, in a hundred.
#[derive(Clone)]
pub struct Rate {
    pub what: String,
    pub hits: usize,
    pub of: usize,
    pub held: Held,
}

#[derive(Clone, Copy)]
pub enum Held {
    AtMost(f64),
    AtLeast(f64),
    /// Only shown.
    Shown,
}

impl Rate {
    pub fn of<T>(what: &str, held: Held, all: impl IntoIterator<Item = T>, hit: impl Fn(&T) -> bool) -> Rate {
        let (mut hits, mut of) = (0, 0);
        for one in all {
            of += 1;
            hits += usize::from(hit(&one));
        }
        let what = what.to_owned();
        Rate { what, hits, of, held }
    }

    /// Within three standard deviations of such a count.
    pub fn is_held(&self) -> bool {
        let of = self.of as f64;
        let by_chance = |percent: f64| 3.0 * (percent / 100.0 * (1.0 - percent / 100.0) * of).sqrt();
        let hits = self.hits as f64;
        match self.held {
            Held::AtMost(percent) => hits <= percent / 100.0 * of + by_chance(percent),
            Held::AtLeast(percent) => self.of > 0 && hits >= percent / 100.0 * of - by_chance(percent),
            Held::Shown => true,
        }
    }

    pub fn line(&self) -> String {
        let percent = 100.0 * self.hits as f64 / self.of.max(1) as f64;
        let want = match self.held {
            Held::AtMost(p) => format!("at most {p} %"),
            Held::AtLeast(p) => format!("at least {p} %"),
            Held::Shown => String::new(),
        };
        let off = if self.is_held() { "" } else { "  NOT HELD" };
        let counts = format!("{} of {}", self.hits, self.of);
        format!("{:<66} {counts:>14} {percent:>6.1} %  {want}{off}", self.what)
    }
}
