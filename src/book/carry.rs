//! Files carried from one folder to another: whole or not at all, byte for byte, no link followed.

use std::fs::{self, File};
use std::io::{ErrorKind, Read};
use std::path::{Component, Path, PathBuf};

use crate::failure::{Failure, Result};
use crate::fileio;

/// No file of a notebook is near this large.
const MOST_BYTES: u64 = 2 << 30;
const PIECE: usize = 1 << 16;

/// A file to where nothing may be yet; compared before it is said to be there.
pub fn file(from: &Path, to: &Path) -> Result<()> {
    let bytes = fileio::read_limited(from, MOST_BYTES)?;
    fileio::write_new(to, &bytes)?;
    if !same(from, to)? {
        let _ = fs::remove_file(to);
        return Err(Failure::new(
            format!("{} did not arrive as {} is", to.display(), from.display()),
            "check the disk, and try again",
        ));
    }
    // When a recording was made is told by its file where nothing else tells; not every file system keeps it.
    if let Ok(made) = fs::metadata(from).and_then(|m| m.modified()) {
        let _ = File::options().write(true).open(to).and_then(|f| f.set_modified(made));
    }
    Ok(())
}

/// A file that is there already where it is the same; where it is another, it stays and is named.
pub fn file_once(from: &Path, to: &Path) -> Result<()> {
    match to.symlink_metadata() {
        Err(_) => file(from, to),
        Ok(m) if m.is_file() && same(from, to)? => Ok(()),
        Ok(_) => Err(Failure::new(
            format!(
                "{} is there already, and is not what {} is",
                to.display(),
                from.display()
            ),
            "look at both, and move one of them away: nothing is overwritten",
        )),
    }
}

/// Whether two files hold the same.
pub fn same(a: &Path, b: &Path) -> Result<bool> {
    let open = |path: &Path| {
        let opened = File::open(path).and_then(|f| Ok((f.metadata()?.len(), f)));
        opened.map_err(|e| Failure::io("read", path, &e))
    };
    let ((long_a, mut a_file), (long_b, mut b_file)) = (open(a)?, open(b)?);
    if long_a != long_b {
        return Ok(false);
    }
    let (mut piece_a, mut piece_b) = (vec![0; PIECE], vec![0; PIECE]);
    loop {
        let n = a_file.read(&mut piece_a).map_err(|e| Failure::io("read", a, &e))?;
        let other = piece_b.get_mut(..n).unwrap_or_default();
        match b_file.read_exact(other) {
            Err(e) if e.kind() == ErrorKind::UnexpectedEof => return Ok(false),
            Err(e) => return Err(Failure::io("read", b, &e)),
            Ok(()) if piece_a.get(..n) != Some(&*other) => return Ok(false),
            Ok(()) if n == 0 => return Ok(true),
            Ok(()) => {}
        }
    }
}

/// What lies in a folder and in those below it, from there, in order; hidden files are nobody's, and links are only named.
#[derive(Debug, Default)]
pub struct Tree {
    pub files: Vec<PathBuf>,
    pub links: Vec<PathBuf>,
}

pub fn tree(top: &Path) -> Result<Tree> {
    let mut tree = Tree::default();
    let mut open = vec![PathBuf::new()];
    while let Some(folder) = open.pop() {
        let here = top.join(&folder);
        for entry in fs::read_dir(&here).map_err(|e| Failure::io("read", &here, &e))? {
            let entry = entry.map_err(|e| Failure::io("read", &here, &e))?;
            let (name, kind) = (entry.file_name(), entry.file_type());
            let kind = kind.map_err(|e| Failure::io("read", &entry.path(), &e))?;
            if name.to_string_lossy().starts_with('.') {
                continue;
            }
            let path = folder.join(name);
            match () {
                () if kind.is_dir() => open.push(path),
                () if kind.is_file() => tree.files.push(path),
                () => tree.links.push(path),
            }
        }
    }
    tree.files.sort();
    tree.links.sort();
    Ok(tree)
}

/// All of a folder into one that was made for it. What is not carried, links and the like, is given back.
pub fn folder(from: &Path, to: &Path) -> Result<Vec<PathBuf>> {
    let tree = tree(from)?;
    for path in &tree.files {
        if let Some(above) = path.parent() {
            ready(to, above)?;
        }
        file(&from.join(path), &to.join(path))?;
    }
    Ok(tree.links)
}

/// The folders of a path below one that is there, each made where it is missing; a link among them leads elsewhere.
pub fn ready(top: &Path, below: &Path) -> Result<PathBuf> {
    let mut folder = top.to_path_buf();
    for part in below.components() {
        let Component::Normal(name) = part else {
            return Err(Failure::new(
                format!("{} leads elsewhere", below.display()),
                "check the path",
            ));
        };
        folder.push(name);
        match fs::create_dir(&folder) {
            Ok(()) => {}
            Err(e) if e.kind() == ErrorKind::AlreadyExists && folder.is_dir() && !folder.is_symlink() => {}
            Err(e) => return Err(Failure::io("make", &folder, &e)),
        }
    }
    Ok(folder)
}

/// Refuses two folders of which one lies in the other, or that are one. `what` names both.
pub fn apart(a: &Path, b: &Path, what: &str) -> Result<()> {
    let whole = |p: &Path| fs::canonicalize(p).map_err(|e| Failure::io("find", p, &e));
    let (in_a, in_b) = (whole(a)?, whole(b)?);
    match in_a.starts_with(&in_b) || in_b.starts_with(&in_a) {
        true => Err(Failure::new(
            format!("{} and {} lie one in the other", a.display(), b.display()),
            format!("give {what} that lies outside the notebook"),
        )),
        false => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_carried_is_whole_and_never_over_another() {
        let dir = tempfile::tempdir().unwrap();
        let (a, b) = (dir.path().join("a"), dir.path().join("b"));
        let long: Vec<u8> = (0..PIECE as u32 * 2 + 7).map(|i| i as u8).collect();
        fs::write(&a, &long).unwrap();
        file_once(&a, &b).unwrap();
        assert_eq!(fs::read(&b).unwrap(), long);
        assert_eq!(
            a.metadata().unwrap().modified().unwrap(),
            b.metadata().unwrap().modified().unwrap()
        );
        file_once(&a, &b).unwrap();
        let mut other = long.clone();
        *other.last_mut().unwrap() ^= 1;
        fs::write(&b, &other).unwrap();
        assert!(!same(&a, &b).unwrap());
        assert!(file_once(&a, &b).unwrap_err().what.contains("is not what"));
        assert_eq!(fs::read(&b).unwrap(), other);
        fs::write(&b, &long[..9]).unwrap();
        assert!(!same(&a, &b).unwrap() && !same(&b, &a).unwrap());
    }

    #[test]
    fn folders_one_in_the_other() {
        let dir = tempfile::tempdir().unwrap();
        let (a, b) = (dir.path().join("a"), dir.path().join("a/b"));
        fs::create_dir_all(&b).unwrap();
        assert!(apart(&a, &b, "one").is_err() && apart(&b, &a, "one").is_err() && apart(&a, &a, "one").is_err());
        let c = dir.path().join("ab");
        fs::create_dir(&c).unwrap();
        apart(&a, &c, "one").unwrap();
        assert!(ready(&a, Path::new("../c")).is_err());
    }
}
