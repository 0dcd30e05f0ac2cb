//! The source under `src`, read as text, which `cargo fmt` keeps regular: files, what each names of the others, functions.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::OnceLock;

pub struct File {
    pub room: String,
    /// Names of the modules down to this one.
    pub module: Vec<String>,
    pub lines: usize,
    /// Without comments, texts and tests.
    pub code: String,
    pub tokens: Vec<String>,
}

pub struct House {
    /// By path below `src`.
    pub files: BTreeMap<String, File>,
    /// From a module's names to its file.
    modules: BTreeMap<Vec<String>, String>,
    /// From a module's names to what it lends its name to: name, and where that is.
    lent: BTreeMap<Vec<String>, Vec<(String, Vec<String>)>>,
}

pub fn house() -> &'static House {
    static HOUSE: OnceLock<House> = OnceLock::new();
    HOUSE.get_or_init(House::read)
}

impl House {
    fn read() -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        let mut texts = BTreeMap::new();
        collect(&root, &root, &mut texts);
        let only_tests: BTreeSet<String> = texts.iter().flat_map(|(p, t)| test_files(p, t)).collect();
        let mut house = House {
            files: BTreeMap::new(),
            modules: BTreeMap::new(),
            lent: BTreeMap::new(),
        };
        for (path, text) in texts {
            let lines = text.lines().count();
            let code = if only_tests.contains(&path) {
                String::new()
            } else {
                without_tests(&plain(&text))
            };
            let module = module(&path);
            if path != "main.rs" {
                house.modules.insert(module.clone(), path.clone());
            }
            let room = path.split(['/', '.']).next().unwrap_or_default().to_string();
            let tokens = tokens(&code);
            house.files.insert(
                path,
                File {
                    room,
                    module,
                    lines,
                    code,
                    tokens,
                },
            );
        }
        for file in house.files.values() {
            let lent = imports(&file.tokens).into_iter().filter(|i| i.public).filter_map(|i| {
                let target = house.absolute(&file.module, &i.path)?;
                Some((i.name, target))
            });
            let lent = lent.collect();
            house.lent.insert(file.module.clone(), lent);
        }
        house
    }

    /// A path as written in a module, from the root; none if it leads out of the house.
    fn absolute(&self, here: &[String], path: &[String]) -> Option<Vec<String>> {
        let mut at: Vec<String> = here.to_vec();
        let mut rest = path;
        match path.first()?.as_str() {
            "crate" => at.clear(),
            "self" => {}
            "super" => {
                while rest.first().is_some_and(|s| s == "super") {
                    at.pop();
                    rest = &rest[1..];
                }
                at.extend(rest.iter().cloned());
                return Some(at);
            }
            first => {
                at.push(first.to_string());
                if !self.modules.contains_key(&at) {
                    return None;
                }
            }
        }
        at.extend(rest[1..].iter().cloned());
        Some(at)
    }

    /// The file in which the thing at a path stands; none for a module by itself, or for what is not ours.
    fn home(&self, path: &[String], depth: usize) -> Option<&String> {
        let known = (0..=path.len())
            .rev()
            .find(|n| self.modules.contains_key(&path[..*n]))?;
        let (module, rest) = path.split_at(known);
        let name = rest.first()?;
        let lent = self.lent[module].iter().find(|(n, _)| n == name).or_else(|| {
            let defined = |m: &[String]| self.modules.get(m).is_some_and(|f| self.files[f].defines(name));
            self.lent[module].iter().find(|(n, t)| n == "*" && defined(t))
        });
        match lent {
            Some((lent, target)) if depth < 8 => {
                let mut on = target.clone();
                on.extend(rest[usize::from(lent != "*")..].iter().cloned());
                self.home(&on, depth + 1)
            }
            _ => self.modules.get(module),
        }
    }

    /// The other files whose things this one names.
    pub fn uses(&self, path: &str) -> Vec<String> {
        let file = &self.files[path];
        let mut names: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let mut wanted: Vec<Vec<String>> = Vec::new();
        let mut whole: Vec<Vec<String>> = Vec::new();
        for i in imports(&file.tokens) {
            let Some(target) = self.absolute(&file.module, &i.path) else {
                continue;
            };
            if i.name == "*" {
                whole.push(target);
            } else if i.public && file.tokens.iter().filter(|t| **t == i.name).count() < 2 {
                // Lent to others and not used here.
            } else {
                wanted.push(target.clone());
                names.insert(i.name, target);
            }
        }
        for p in paths(&file.tokens) {
            if let Some(target) = names.get(&p[0]) {
                wanted.push(target.iter().chain(&p[1..]).cloned().collect());
            } else if let Some(target) = self.absolute(&file.module, &p) {
                wanted.push(target);
            }
            wanted.extend(whole.iter().filter_map(|w| {
                let full: Vec<String> = w.iter().chain(&p).cloned().collect();
                let home = self.home(&full, 0)?;
                (self.files[home].defines(&p[0])).then_some(full)
            }));
        }
        let homes: BTreeSet<&String> = wanted.iter().filter_map(|w| self.home(w, 0)).collect();
        homes.into_iter().filter(|h| *h != path).cloned().collect()
    }
}

impl File {
    /// Every path that is written out or imported.
    pub fn named(&self) -> Vec<Vec<String>> {
        let imported = imports(&self.tokens).into_iter().map(|i| i.path);
        imported.chain(paths(&self.tokens)).collect()
    }

    fn defines(&self, name: &str) -> bool {
        const KINDS: [&str; 8] = ["fn", "struct", "enum", "trait", "type", "const", "static", "union"];
        self.tokens
            .windows(2)
            .any(|w| KINDS.contains(&w[0].as_str()) && w[1] == name)
    }
}

fn collect(root: &Path, folder: &Path, out: &mut BTreeMap<String, String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(root, &path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            let name = path.strip_prefix(root).unwrap().to_str().unwrap().replace('\\', "/");
            out.insert(name, std::fs::read_to_string(&path).unwrap());
        }
    }
}

/// "record/tray/keys.rs" is `record::tray::keys`, "record/mod.rs" is `record`, "lib.rs" the root.
fn module(path: &str) -> Vec<String> {
    let mut names: Vec<String> = path.trim_end_matches(".rs").split('/').map(str::to_string).collect();
    if matches!(names.last().map(String::as_str), Some("mod" | "lib" | "main")) {
        names.pop();
    }
    names
}

/// Files that a `#[cfg(test)] mod x;` brings in.
fn test_files(path: &str, text: &str) -> Vec<String> {
    let mut folder = module(path);
    let mut out = Vec::new();
    for part in text.split("#[cfg(test)]").skip(1) {
        let line = part.trim_start().lines().next().unwrap_or_default();
        let Some((_, name)) = line.strip_suffix(';').and_then(|l| l.split_once("mod ")) else {
            continue;
        };
        folder.push(name.to_string());
        let stem = folder.join("/");
        out.extend([format!("{stem}.rs"), format!("{stem}/mod.rs")]);
        folder.pop();
    }
    out
}

/// Comments, texts and characters blanked, lines kept.
fn plain(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut i = 0;
    while i < chars.len() {
        let end = skipped(&chars, i);
        if end == i {
            out.push(chars[i]);
            i += 1;
        } else {
            out.extend(chars[i..end].iter().map(|c| if *c == '\n' { '\n' } else { ' ' }));
            i = end;
        }
    }
    out
}

/// Behind the comment or text that begins here, or here.
fn skipped(chars: &[char], at: usize) -> usize {
    let starts = |s: &str| chars[at..].iter().copied().take(s.len()).eq(s.chars());
    let behind = |from: usize, end: &[char]| {
        (from..chars.len())
            .find(|i| chars[*i..].starts_with(end))
            .map_or(chars.len(), |i| i + end.len())
    };
    if starts("//") {
        return behind(at, &['\n']) - 1;
    }
    if starts("r#\"") {
        return behind(at + 3, &['"', '#']);
    }
    if starts("r\"") && (at == 0 || !chars[at - 1].is_alphanumeric()) {
        return behind(at + 2, &['"']);
    }
    let quote = chars[at];
    // A lifetime has no second quote.
    let character = quote == '\'' && (chars.get(at + 1) == Some(&'\\') || chars.get(at + 2) == Some(&'\''));
    if quote != '"' && !character {
        return at;
    }
    let mut i = at + 1;
    while i < chars.len() && chars[i] != quote {
        i += if chars[i] == '\\' { 2 } else { 1 };
    }
    i + 1
}

/// What stands behind `#[cfg(test)]` blanked, up to its brace or semicolon.
fn without_tests(code: &str) -> String {
    let mut out = String::new();
    let mut rest = code;
    while let Some(at) = rest.find("#[cfg(test)]") {
        let item = &rest[at + "#[cfg(test)]".len()..];
        let first = item.find(['{', ';']).unwrap_or(item.len());
        let end = if item[first..].starts_with('{') {
            first + block(&item[first..])
        } else {
            first
        };
        out.push_str(&rest[..at]);
        out.extend(item[..end].chars().filter(|c| *c == '\n'));
        rest = item.get(end..).unwrap_or_default();
    }
    out + rest
}

/// Length of the block whose brace is the first character.
fn block(code: &str) -> usize {
    let mut depth = 0;
    for (i, c) in code.char_indices() {
        depth += i32::from(c == '{') - i32::from(c == '}');
        if depth == 0 {
            return i + 1;
        }
    }
    code.len()
}

/// Names, `::`, and all else by character.
fn tokens(code: &str) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let mut chars = code.chars().peekable();
    while let Some(c) = chars.next() {
        if c.is_alphanumeric() || c == '_' {
            let mut word = String::from(c);
            while let Some(c) = chars.next_if(|c| c.is_alphanumeric() || *c == '_') {
                word.push(c);
            }
            out.push(word);
        } else if c == ':' && chars.next_if_eq(&':').is_some() {
            out.push("::".into());
        } else if !c.is_whitespace() {
            out.push(c.into());
        }
    }
    out
}

struct Import {
    public: bool,
    path: Vec<String>,
    /// What it is called here.
    name: String,
}

fn imports(tokens: &[String]) -> Vec<Import> {
    let mut out = Vec::new();
    for (i, _) in tokens.iter().enumerate().filter(|(_, t)| *t == "use") {
        // What a type captures: `impl Iterator + use<'_>`.
        if tokens.get(i + 1).is_some_and(|t| t == "<") {
            continue;
        }
        let before = &tokens[i.saturating_sub(1)..i];
        let public = before.iter().any(|t| t == "pub" || t == ")");
        let mut at = i + 1;
        tree(tokens, &mut at, &[], public, &mut out);
    }
    out
}

/// One branch of a `use`, up to its comma, brace or semicolon.
fn tree(tokens: &[String], at: &mut usize, stem: &[String], public: bool, out: &mut Vec<Import>) {
    let mut path = stem.to_vec();
    while let Some(t) = tokens.get(*at).map(String::as_str) {
        *at += 1;
        match t {
            "::" => {}
            "{" => {
                while tokens.get(*at).is_some_and(|t| t != "}" && t != ";") {
                    tree(tokens, at, &path, public, out);
                    *at += usize::from(tokens.get(*at).is_some_and(|t| t == ","));
                }
                *at += 1;
                return;
            }
            "," | "}" | ";" => {
                *at -= 1;
                break;
            }
            "as" => {
                let name = tokens[*at].clone();
                *at += 1;
                out.push(Import { public, path, name });
                return;
            }
            "self" if !path.is_empty() => {}
            name => path.push(name.to_string()),
        }
    }
    if let Some(name) = path.last().cloned() {
        path.pop_if(|last| last == "*");
        out.push(Import { public, path, name });
    }
}

/// Every name with what hangs on it by `::`.
fn paths(tokens: &[String]) -> Vec<Vec<String>> {
    let is_name = |t: &String| t.starts_with(|c: char| c.is_alphabetic() || c == '_');
    let mut out = Vec::new();
    let mut i = 0;
    while i < tokens.len() {
        let hangs = i > 0 && (tokens[i - 1] == "::" || tokens[i - 1] == ".");
        if !is_name(&tokens[i]) || hangs {
            i += 1;
            continue;
        }
        let mut path = vec![tokens[i].clone()];
        while tokens.get(i + 1).is_some_and(|t| t == "::") && tokens.get(i + 2).is_some_and(is_name) {
            path.push(tokens[i + 2].clone());
            i += 2;
        }
        out.push(path);
        i += 1;
    }
    out
}

pub struct Function {
    pub name: String,
    pub lines: usize,
    pub parameters: usize,
}

/// Those with a body, as `cargo fmt` lays them out: the last line is the brace below the first.
pub fn functions(code: &str) -> Vec<Function> {
    let mut out = Vec::new();
    let mut start = 0;
    for (at, _) in code.match_indices("fn ") {
        if at < start || code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_') {
            continue;
        }
        let rest = &code[at + 3..];
        let name: String = rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
        let Some(parameters) = rest
            .find('(')
            .map(|p| parameters(&rest[p..]))
            .filter(|_| !name.is_empty())
        else {
            continue;
        };
        let end = head(rest);
        let body = if rest[end..].starts_with('{') {
            end + block(&rest[end..])
        } else {
            end
        };
        out.push(Function {
            name,
            lines: rest[..body].lines().count(),
            parameters,
        });
        start = at + 3;
    }
    out
}

/// Length up to the brace or semicolon behind a function's head; `[f64; 2]` among the parameters is neither.
fn head(code: &str) -> usize {
    let mut depth = 0;
    for (i, c) in code.char_indices() {
        depth += i32::from(matches!(c, '(' | '[')) - i32::from(matches!(c, ')' | ']'));
        if depth == 0 && matches!(c, '{' | ';') {
            return i;
        }
    }
    code.len()
}

/// Commas between the outermost brackets, the one before the last bracket not counted.
fn parameters(code: &str) -> usize {
    let (mut depth, mut count, mut filled) = (0, 0, false);
    for (i, c) in code.char_indices() {
        match c {
            '(' | '[' | '{' | '<' => depth += 1,
            '>' if code[..i].ends_with('-') => {}
            ')' | ']' | '}' | '>' => depth -= 1,
            ',' if depth == 1 => {
                count += usize::from(filled);
                filled = false;
                continue;
            }
            _ => {}
        }
        if depth == 0 {
            break;
        }
        filled |= i > 0 && !c.is_whitespace();
    }
    count + usize::from(filled)
}
