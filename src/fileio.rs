//! Files read with a limit and written whole or not at all.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use tempfile::NamedTempFile;

use crate::failure::{Failure, Result};

/// The file that a link leads to; any other path as it was given, so that messages name what was typed.
pub fn real(path: &Path) -> PathBuf {
    match path.is_symlink() {
        true => fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf()),
        false => path.to_path_buf(),
    }
}

/// Replaces or makes a file. A reader, or a power cut, meets the old content or the new, never a mixture.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<()> {
    // Through a link, so that the link stays one.
    let target = real(path);
    let file = staged(&target, bytes).map_err(|e| Failure::io("write", path, &e))?;
    if let Ok(old) = fs::metadata(&target) {
        // Who may read a file stays as its owner set it.
        let _ = file.as_file().set_permissions(old.permissions());
    }
    file.persist(&target)
        .map_err(|e| Failure::io("write", path, &e.error))?;
    sync_folder(&target).map_err(|e| Failure::io("write", path, &e))
}

/// Makes a file that must not be there yet. Of two writers at the same moment exactly one succeeds.
pub fn write_new(path: &Path, bytes: &[u8]) -> Result<()> {
    let file = staged(path, bytes).map_err(|e| Failure::io("write", path, &e))?;
    place_new(file, path)?;
    sync_folder(path).map_err(|e| {
        // What is said not to be written is not there either: it would be written once more, or be taken for whole.
        let _ = fs::remove_file(path);
        Failure::io("write", path, &e)
    })
}

/// The file system decides, in one step, whether the name is free.
fn place_new(file: NamedTempFile, path: &Path) -> Result<()> {
    match file.persist_noclobber(path) {
        Ok(_) => Ok(()),
        Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => Err(Failure::new(
            format!("{} is there already", path.display()),
            "choose another place: nothing is overwritten",
        )),
        Err(e) => Err(Failure::io("write", path, &e.error)),
    }
}

/// A file's name without its folders.
pub fn name_of(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

/// The name of a file without folder and ending.
pub fn stem(path: &Path) -> String {
    path.file_stem()
        .map_or_else(|| "take".into(), |s| s.to_string_lossy().into_owned())
}

/// The file beside another, one for all links to it, that stands for holding it; not held yet. It stays, empty: of a lock that
/// is taken away two may be held, by whoever waited for the old one and by whoever made the new one.
fn lock_beside(path: &Path) -> Result<(PathBuf, File)> {
    let path = real(path);
    let beside = folder_of(&path).join(format!(".{}.lock", name_of(&path)));
    // A link would lead elsewhere, and a pipe never open.
    if beside.symlink_metadata().is_ok_and(|m| !m.is_file()) {
        return Err(no_file(&beside));
    }
    // Whoever made it: to hold it takes no more than reading it.
    let lock = match File::open(&beside) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => File::create(&beside),
        opened => opened,
    };
    let lock = lock.map_err(|e| Failure::io("lock", &beside, &e))?;
    Ok((beside, lock))
}

fn no_file(path: &Path) -> Failure {
    Failure::new(format!("{} is no regular file", path.display()), "give a file")
}

/// Runs `work` while no other process does the same for this file: read, change, write as one.
pub fn alone<T>(path: &Path, work: impl FnOnce() -> Result<T>) -> Result<T> {
    let (beside, lock) = lock_beside(path)?;
    lock.lock().map_err(|e| Failure::io("lock", &beside, &e))?;
    let out = work();
    let _ = lock.unlock();
    out
}

/// Takes hold of a file for as long as what is given back lives; `None` where another process has it. A process that ends in
/// whatever way lets go.
pub fn hold(path: &Path) -> Result<Option<File>> {
    let (beside, lock) = lock_beside(path)?;
    match lock.try_lock() {
        Ok(()) => Ok(Some(lock)),
        Err(fs::TryLockError::WouldBlock) => Ok(None),
        Err(fs::TryLockError::Error(e)) => Err(Failure::io("lock", &beside, &e)),
    }
}

/// As [`hold`], of a folder as such, refused where another process has it; where the system cannot, nobody is kept out.
pub fn hold_folder(folder: &Path) -> Result<Option<File>> {
    let Ok(file) = File::open(folder) else { return Ok(None) };
    match file.try_lock() {
        Ok(()) => Ok(Some(file)),
        Err(fs::TryLockError::Error(_)) => Ok(None),
        Err(fs::TryLockError::WouldBlock) => Err(Failure::new(
            format!("{} is being measured, or finished, at this moment", folder.display()),
            "wait for its end",
        )),
    }
}

/// A document as its file holds it; `what` names it in a message.
pub fn pretty(document: &impl serde::Serialize, what: &str) -> Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec_pretty(document).map_err(|e| {
        Failure::new(
            format!("cannot write {what}: {e}"),
            "report this as a fault of the program",
        )
    })?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// No record and no entry is larger.
pub const DOCUMENT_BYTES: u64 = 16 << 20;

/// A whole file, refused above `max_bytes`: a wrong path must not fill the memory.
pub fn read_limited(path: &Path, max_bytes: u64) -> Result<Vec<u8>> {
    let failed = |e: io::Error| Failure::io("read", path, &e);
    let too_large = || {
        Failure::new(
            format!("{} is larger than {max_bytes} bytes", path.display()),
            "check that it is the file you meant",
        )
    };
    // Looked at before it is opened: a pipe waits for whoever writes to it, and a device may never end.
    let kind = fs::metadata(path).map_err(failed)?;
    if !kind.is_file() && !kind.is_dir() {
        return Err(no_file(path));
    }
    if kind.is_file() && kind.len() > max_bytes {
        return Err(too_large());
    }
    let mut bytes = Vec::new();
    // It may have grown since.
    File::open(path)
        .map_err(failed)?
        .take(max_bytes.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    if bytes.len() as u64 > max_bytes {
        return Err(too_large());
    }
    Ok(bytes)
}

/// As `read_limited`, for text; a byte-order mark at the start is dropped.
pub fn read_text_limited(path: &Path, max_bytes: u64) -> Result<String> {
    let bytes = read_limited(path, max_bytes)?;
    text_of(bytes, path)
}

/// Bytes of `path` as text.
pub fn text_of(bytes: Vec<u8>, path: &Path) -> Result<String> {
    let text = String::from_utf8(bytes).map_err(|_| {
        Failure::new(
            format!("{} is not a text file", path.display()),
            "give a text file in UTF-8",
        )
    })?;
    Ok(match text.strip_prefix('\u{feff}') {
        Some(t) => t.to_owned(),
        None => text,
    })
}

/// Whether files can be made in a folder; nothing stays of the trial.
pub fn try_folder(folder: &Path) -> Result<()> {
    match temporary(folder) {
        Ok(_) => Ok(()),
        Err(e) => Err(Failure::io("write in", folder, &e)),
    }
}

/// The content on the disk, under another name in the same folder; removed again when dropped.
fn staged(path: &Path, bytes: &[u8]) -> io::Result<NamedTempFile> {
    let mut file = temporary(&folder_of(path))?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    Ok(file)
}

/// Of what is not yet a file. Nobody else's has such a name.
const BEGINS: &str = ".coilwright-";
const ENDS: &str = ".tmp";

/// An empty file of no lasting name, locked for as long as its writer lives. What killed ones have left there goes.
fn temporary(folder: &Path) -> io::Result<NamedTempFile> {
    put_away(folder);
    let mut builder = tempfile::Builder::new();
    builder.prefix(BEGINS).suffix(ENDS);
    // As any other program makes files, less what the umask forbids.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    loop {
        let file = builder.tempfile_in(folder)?;
        // A file system without locks puts nothing away either.
        let _ = file.as_file().lock();
        // Another may have taken it for a dead one's before it was locked.
        if file.path().exists() {
            return Ok(file);
        }
    }
}

/// Removes the temporary files of a folder whose writers are dead: those that nobody has locked.
fn put_away(folder: &Path) {
    let Ok(list) = fs::read_dir(folder) else { return };
    for entry in list.flatten() {
        let name = entry.file_name();
        let ours = name
            .to_str()
            .is_some_and(|n| n.starts_with(BEGINS) && n.ends_with(ENDS));
        // A pipe of that name would be waited for.
        if !ours || !entry.file_type().is_ok_and(|t| t.is_file()) {
            continue;
        }
        // The lock is held until the name is gone, and another's not waited for.
        if let Ok(file) = File::open(entry.path())
            && file.try_lock().is_ok()
        {
            let _ = fs::remove_file(entry.path());
        }
    }
}

fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p.to_path_buf(),
        _ => PathBuf::from("."),
    }
}

/// The new name itself must reach the disk too.
pub fn sync_folder(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    if let Err(e) = File::open(folder_of(path)).and_then(|f| f.sync_all()) {
        // Some network file systems cannot; the file is there all the same.
        if !matches!(e.kind(), io::ErrorKind::InvalidInput | io::ErrorKind::Unsupported) {
            return Err(e);
        }
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}

/// First 16 hex digits of the SHA-256.
pub fn short_hash(bytes: &[u8]) -> String {
    let digest = Sha256::digest(bytes);
    digest.iter().take(8).map(|b| format!("{b:02x}")).collect()
}

/// The file in which a cache keeps what belongs to a folder, whichever way that is reached; `None` where there is no such folder.
pub fn kept_of(folder: &Path, cache: &Path, ending: &str) -> Option<PathBuf> {
    let whole = std::fs::canonicalize(folder).ok()?;
    let name = short_hash(whole.as_os_str().as_encoded_bytes());
    Some(cache.join(format!("{name}.{ending}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(dir: &Path) -> Vec<String> {
        let mut v: Vec<String> = fs::read_dir(dir)
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        v.sort();
        v
    }

    #[test]
    fn replaces_a_file_and_leaves_nothing_beside_it() {
        let dir = tempfile::tempdir().unwrap();
        let p = dir.path().join("a.toml");
        write_atomically(&p, b"one").unwrap();
        write_atomically(&p, b"two, longer").unwrap();
        assert_eq!(fs::read(&p).unwrap(), b"two, longer");
        write_atomically(&p, b"3").unwrap();
        assert_eq!(fs::read(&p).unwrap(), b"3");
        assert_eq!(names(dir.path()), ["a.toml"]);
    }

    #[cfg(unix)]
    #[test]
    fn keeps_a_link_and_the_permissions() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let (real, link) = (dir.path().join("real"), dir.path().join("link"));
        write_new(&real, b"old").unwrap();
        // Not the private 0600 of a temporary file.
        assert_ne!(fs::metadata(&real).unwrap().permissions().mode() & 0o044, 0);
        fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).unwrap();
        std::os::unix::fs::symlink(&real, &link).unwrap();
        write_atomically(&link, b"new").unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::read(&real).unwrap(), b"new");
        assert_eq!(fs::metadata(&real).unwrap().permissions().mode() & 0o777, 0o640);
    }

    /// What a killed writer left goes with the next one in that folder; what another is writing stays, and so does whatever is
    /// not ours.
    #[test]
    fn puts_away_what_dead_ones_left() {
        let dir = tempfile::tempdir().unwrap();
        let p = dir.path().join("a.toml");
        let (dead, other) = (format!("{BEGINS}aaaaaa{ENDS}"), ".other.tmp");
        fs::write(dir.path().join(&dead), b"half").unwrap();
        fs::write(dir.path().join(other), b"mine").unwrap();
        let live = staged(&p, b"live").unwrap();
        assert!(!dir.path().join(&dead).exists());
        write_new(&dir.path().join("b.toml"), b"b").unwrap();
        try_folder(dir.path()).unwrap();
        place_new(live, &p).unwrap();
        assert_eq!(fs::read(&p).unwrap(), b"live");
        assert_eq!(names(dir.path()), [other, "a.toml", "b.toml"]);
    }

    /// Many writers and sweepers in one folder: everyone's file arrives.
    #[test]
    fn nobody_puts_away_what_lives() {
        let dir = tempfile::tempdir().unwrap();
        std::thread::scope(|s| {
            for i in 0..8 {
                let folder = dir.path();
                s.spawn(move || {
                    for n in 0..40 {
                        write_new(&folder.join(format!("{i}-{n}")), b"x").unwrap();
                    }
                });
            }
        });
        assert_eq!(names(dir.path()).len(), 320);
    }

    #[cfg(unix)]
    #[test]
    fn a_lock_leads_nowhere() {
        let dir = tempfile::tempdir().unwrap();
        let (p, elsewhere) = (dir.path().join("a"), dir.path().join("letter"));
        fs::write(&elsewhere, b"dear").unwrap();
        std::os::unix::fs::symlink(&elsewhere, dir.path().join(".a.lock")).unwrap();
        assert!(alone(&p, || Ok(())).is_err());
        assert_eq!(fs::read(&elsewhere).unwrap(), b"dear");
        // One lock for a file and the links to it.
        let link = dir.path().join("link");
        fs::write(dir.path().join("real"), b"").unwrap();
        std::os::unix::fs::symlink(dir.path().join("real"), &link).unwrap();
        let _held = hold(&link).unwrap().unwrap();
        assert!(hold(&dir.path().join("real")).unwrap().is_none());
    }

    #[test]
    fn never_overwrites_when_asked_for_a_new_file() {
        let dir = tempfile::tempdir().unwrap();
        let p = dir.path().join("record.json");
        write_new(&p, b"first").unwrap();
        let e = write_new(&p, b"second").unwrap_err().to_string();
        assert!(e.contains("record.json is there already; choose another place"), "{e}");
        assert_eq!(fs::read(&p).unwrap(), b"first");
        assert_eq!(names(dir.path()), ["record.json"]);
    }

    #[test]
    fn of_many_writers_one_wins() {
        let dir = tempfile::tempdir().unwrap();
        let p = dir.path().join("record.json");
        let gate = std::sync::Barrier::new(8);
        let wins: Vec<bool> = std::thread::scope(|s| {
            let threads: Vec<_> = (0..8u8)
                .map(|i| {
                    let (p, gate) = (&p, &gate);
                    s.spawn(move || {
                        // Staged before the gate, so that all eight meet at the decision itself.
                        let f = staged(p, &[i; 1000]).unwrap();
                        gate.wait();
                        place_new(f, p).is_ok()
                    })
                })
                .collect();
            threads.into_iter().map(|t| t.join().unwrap()).collect()
        });
        assert_eq!(wins.iter().filter(|w| **w).count(), 1);
        let content = fs::read(&p).unwrap();
        let winner = wins.iter().position(|w| *w).unwrap() as u8;
        assert_eq!(content, [winner; 1000]);
    }

    #[test]
    fn says_what_is_wrong_in_one_line() {
        let dir = tempfile::tempdir().unwrap();
        let missing = dir.path().join("no/such/file");
        for e in [
            write_new(&missing, b"x").unwrap_err(),
            write_atomically(&missing, b"x").unwrap_err(),
            read_limited(&missing, 10).unwrap_err(),
            write_atomically(dir.path(), b"x").unwrap_err(),
            read_limited(dir.path(), 10).unwrap_err(),
        ] {
            let e = e.to_string();
            assert!(e.contains("cannot ") && e.contains(';') && !e.contains('\n'), "{e}");
        }
        assert_eq!(names(dir.path()), [""; 0]);
    }

    #[test]
    fn reads_up_to_the_limit() {
        let dir = tempfile::tempdir().unwrap();
        let p = dir.path().join("f");
        write_new(&p, &[b'x'; 100]).unwrap();
        assert_eq!(read_limited(&p, 100).unwrap().len(), 100);
        let e = read_limited(&p, 99).unwrap_err().to_string();
        assert!(e.contains("larger than 99 bytes"), "{e}");
        write_atomically(&p, b"\xef\xbb\xbfname").unwrap();
        assert_eq!(read_text_limited(&p, 100).unwrap(), "name");
        write_atomically(&p, b"\xff\xfe\x00").unwrap();
        assert!(read_text_limited(&p, 100).is_err());
    }
}
