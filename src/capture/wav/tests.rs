use super::*;

fn chunk(id: &[u8], body: &[u8]) -> Vec<u8> {
    let mut v = id.to_vec();
    v.extend_from_slice(&(body.len() as u32).to_le_bytes());
    v.extend_from_slice(body);
    if body.len() % 2 == 1 {
        v.push(0);
    }
    v
}

fn fmt(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
    let block = channels * bits / 8;
    let mut v = Vec::new();
    v.extend_from_slice(&tag.to_le_bytes());
    v.extend_from_slice(&channels.to_le_bytes());
    v.extend_from_slice(&rate.to_le_bytes());
    v.extend_from_slice(&(rate * u32::from(block)).to_le_bytes());
    v.extend_from_slice(&block.to_le_bytes());
    v.extend_from_slice(&bits.to_le_bytes());
    v
}

fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body: Vec<u8> = chunks.concat();
    let mut v = b"RIFF".to_vec();
    v.extend_from_slice(&(body.len() as u32 + 4).to_le_bytes());
    v.extend_from_slice(b"WAVE");
    v.extend(body);
    v
}

fn read(bytes: &[u8]) -> Result<Take> {
    take_from_bytes(bytes, Path::new("t.wav"), None)
}

#[test]
fn every_format_and_odd_chunks_are_read() {
    let odd = chunk(b"LIST", b"abc");
    let pcm16: Vec<u8> = [1000i16, -1000, 16384, -32768]
        .iter()
        .flat_map(|s| s.to_le_bytes())
        .collect();
    let t = read(&riff(&[
        chunk(b"fmt ", &fmt(1, 2, 48000, 16)),
        odd.clone(),
        chunk(b"data", &pcm16),
    ]))
    .unwrap();
    assert_eq!(t.pickup, [1000.0 / 32768.0, 0.5]);
    assert_eq!(t.reference.unwrap(), [-1000.0 / 32768.0, -1.0]);
    let pcm24 = [0x00, 0x00, 0x40, 0x00, 0x00, 0xC0];
    let t = read(&riff(&[
        odd.clone(),
        chunk(b"fmt ", &fmt(1, 1, 96000, 24)),
        chunk(b"data", &pcm24),
    ]))
    .unwrap();
    assert_eq!((t.pickup, t.reference), (vec![0.5, -0.5], None));
    let pcm32: Vec<u8> = [1i32 << 30].iter().flat_map(|s| s.to_le_bytes()).collect();
    assert_eq!(
        read(&riff(&[chunk(b"fmt ", &fmt(1, 1, 44100, 32)), chunk(b"data", &pcm32)]))
            .unwrap()
            .pickup,
        [0.5]
    );
    let mut ext = fmt(0xFFFE, 1, 192000, 32);
    ext.extend_from_slice(&[22, 0, 32, 0, 0, 0, 0, 0, 3, 0]);
    ext.extend_from_slice(&[0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
    let t = read(&riff(&[chunk(b"fmt ", &ext), chunk(b"data", &0.25f32.to_le_bytes())])).unwrap();
    assert_eq!((t.pickup, t.rate_hz), (vec![0.25], 192000));
}

/// Lengths of 32 bits say nothing there; what lies behind the samples is none of them.
#[test]
fn long_files_say_their_lengths_elsewhere() {
    let (pcm, junk) = ([0u8, 1, 0, 2, 0, 3], chunk(b"LIST", &[9; 40]));
    let long = |ds64: Vec<Vec<u8>>, samples: u64, table: &[u8]| {
        let says = [&[0u8; 8][..], &samples.to_le_bytes(), &[0; 8], &[1, 0, 0, 0], table].concat();
        let mut big = chunk(b"junk", &[7; 6]);
        big[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
        let mut data = chunk(b"data", &pcm);
        data[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
        let head = [ds64.concat(), chunk(b"ds64", &says)].concat();
        let big = if table.is_empty() { Vec::new() } else { big };
        let mut file = riff(&[head, big, chunk(b"fmt ", &fmt(1, 1, 48000, 16)), data, junk.clone()]);
        file[..8].copy_from_slice(b"RF64\xff\xff\xff\xff");
        read(&file)
    };
    let rows = [&b"junk"[..], &6u64.to_le_bytes()].concat();
    for (before, table) in [(vec![], &[][..]), (vec![junk.clone()], &rows)] {
        let t = long(before, 6, table).unwrap();
        assert_eq!((t.pickup.len(), t.provenance.notes.len()), (3, 0));
    }
    // More than there is, and a recorder that was interrupted: what is there.
    let t = long(vec![], 1 << 40, &[]).unwrap();
    assert_eq!((t.pickup.len(), t.provenance.notes.len()), (27, 1));
    assert_eq!(long(vec![], 0, &[]).unwrap().pickup.len(), 27);
}

#[test]
fn a_lying_header_is_noted_and_bad_files_are_named() {
    let mut lie = riff(&[chunk(b"fmt ", &fmt(1, 1, 48000, 16)), chunk(b"data", &[0, 1, 0, 2, 7])]);
    let at = lie.windows(4).position(|w| w == b"data").unwrap();
    lie[at + 4..at + 8].copy_from_slice(&0xF000_0000u32.to_le_bytes());
    let t = read(&lie).unwrap();
    assert_eq!(t.pickup.len(), 3);
    assert!(t.provenance.notes[0].contains("shorter"));
    let good = riff(&[chunk(b"fmt ", &fmt(1, 1, 48000, 16)), chunk(b"data", &[0, 1])]);
    for cut in 0..good.len() - 2 {
        assert!(read(&good[..cut]).is_err(), "{cut}");
    }
    let nan = riff(&[
        chunk(b"fmt ", &fmt(3, 1, 48000, 32)),
        chunk(b"data", &f32::NAN.to_le_bytes()),
    ]);
    for (bytes, word) in [
        (
            riff(&[chunk(b"fmt ", &fmt(1, 1, 48000, 8)), chunk(b"data", &[1, 2])]),
            "8-bit",
        ),
        (b"some words in a file".to_vec(), "not a WAV"),
        (nan, "no number"),
        (
            riff(&[chunk(b"fmt ", &fmt(1, 1, 48000, 16)), chunk(b"data", &[])]),
            "no samples",
        ),
    ] {
        let e = read(&bytes).unwrap_err().to_string();
        assert!(e.contains(word) && e.contains("t.wav"), "{e}");
    }
}

#[test]
fn written_takes_come_back_bit_for_bit() {
    let a: Vec<f32> = (0..100).map(|i| (i as f32 * 1000.0).round() / 8_388_608.0).collect();
    let b: Vec<f32> = (0..100).map(|i| (i as f32 * 0.1).sin()).collect();
    let t = take_from_bytes(&to_bytes(48000, &[&a, &a]).unwrap(), Path::new("t"), None).unwrap();
    assert_eq!((&t.pickup, t.step), (&a, 1.0 / 8_388_608.0));
    let t = take_from_bytes(&to_bytes(48000, &[&b]).unwrap(), Path::new("t"), None).unwrap();
    assert_eq!(t.pickup, b);
    assert!(!t.provenance.simulated);
    // Of the bench it says so, and stays a file that others read.
    let mut made = t.clone();
    made.provenance.simulated = true;
    for (pickup, reference) in [(a.clone(), None), (b.clone(), Some(b))] {
        (made.pickup, made.reference) = (pickup, reference);
        let bytes = of_take(&made).unwrap();
        let whole: [u8; 4] = bytes[4..8].try_into().unwrap();
        assert_eq!(u32::from_le_bytes(whole) as usize + 8, bytes.len());
        let t = read(&bytes).unwrap();
        assert!(t.provenance.simulated && t.provenance.notes.is_empty());
        assert_eq!((&t.pickup, &t.reference), (&made.pickup, &made.reference));
        let others = hound::WavReader::new(Cursor::new(&bytes)).unwrap();
        assert_eq!(others.duration(), 100);
    }
}
