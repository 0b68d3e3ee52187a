//! JPEG files: what the headers say before a decoder sees them, whether the picture is all there, and its decoding.
//!
//! Decoders made for viewing paint what is missing in grey and call it a success. A half-grey photo would give a number,
//! so here every scan of a sequential picture is walked and its blocks are counted, and the decoder runs in its strict
//! mode. Source: ITU-T T.81 (annex B: markers, annex F: sequential Huffman coding); the decoder is `zune-jpeg`.
//!
//! Limit: in a progressive picture the blocks of a scan are not counted; there the scans have to give every coefficient of
//! every component in full precision, and the strict decoder has to be content. A picture cut off anywhere but in its last
//! scan, which only refines the finest detail, lacks scans.

use std::ops::Range;
use std::sync::Arc;

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;

/// What a JPEG's markers say.
#[derive(Debug)]
pub(super) struct Layout {
    pub width: u32,
    pub height: u32,
    pub components: Vec<Component>,
    /// Bits a sample.
    pub precision: u8,
    /// The frame header's marker: 0xC0 to 0xC2 are the Huffman-coded ones read here.
    pub frame: u8,
    /// Offset just past the end-of-image marker; `None` if the file stops before it.
    pub end: Option<usize>,
    /// How many scans there are.
    pub scans: usize,
    /// False if scans are missing or nonsense.
    whole: bool,
    /// Sequential Huffman scans, whose blocks can be counted: at most one a component.
    countable: Vec<Scan>,
}

/// One colour component of the frame header.
#[derive(Debug, Clone)]
pub(super) struct Component {
    id: u8,
    h: u32,
    v: u32,
    /// A bit for each of the 64 coefficients that scans have given in full precision.
    given: u64,
}

/// A scan whose blocks can be counted.
#[derive(Debug)]
struct Scan {
    /// Tables of the blocks of one unit, in their order.
    blocks: Vec<(Arc<Huffman>, Arc<Huffman>)>,
    /// Units that the picture needs.
    units: u32,
    /// Units between restart markers.
    interval: u32,
    data: Range<usize>,
}

/// Decoded samples with the metadata blocks found beside them.
pub(super) struct Decoded {
    /// Interleaved, 8 bit: three a pixel, or one if `grey`.
    pub samples: Vec<u8>,
    pub grey: bool,
    pub icc: Option<Vec<u8>>,
    pub exif: Option<Vec<u8>>,
}

/// Decodes in strict mode: damaged data is an error, not grey.
pub(super) fn decode(bytes: &[u8], grey: bool) -> Result<Decoded, String> {
    let colours = if grey {
        ColorSpace::Luma
    } else {
        ColorSpace::RGB
    };
    // A JPEG's sides have 16 bits; the limit on pixels is enforced by the caller.
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX))
        .jpeg_set_out_colorspace(colours);
    let mut decoder = zune_jpeg::JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    let samples = decoder.decode().map_err(|e| e.to_string())?;
    Ok(Decoded {
        samples,
        grey,
        // Parts that do not make a whole are no profile, and not none either.
        icc: decoder
            .icc_profile()
            .or_else(|| names_profile(bytes).then(Vec::new)),
        exif: decoder.exif().cloned(),
    })
}

/// Whether a segment before the picture calls itself part of a colour profile (ICC.1:2022, annex B.4).
fn names_profile(bytes: &[u8]) -> bool {
    let mut at = 2;
    while let Some((marker, body)) = next_marker(bytes, at) {
        let Some((contents, after)) = segment(bytes, body).filter(|_| marker != 0xDA) else {
            return false;
        };
        if marker == 0xE2 && contents.starts_with(b"ICC_PROFILE\0") {
            return true;
        }
        at = after;
    }
    false
}

/// Walks the markers of a JPEG. `None` if there is no frame header to be found.
pub(super) fn layout(bytes: &[u8]) -> Option<Layout> {
    let mut layout: Option<Layout> = None;
    let mut tables = Tables::default();
    let mut at = 2;
    while let Some((marker, body)) = next_marker(bytes, at) {
        match marker {
            0xD9 => {
                let layout = layout.as_mut()?;
                layout.end = Some(body);
                layout.whole &= layout.components.iter().all(|c| c.given == u64::MAX);
                break;
            }
            // A second start of image before the end of the first: the first is cut off.
            0xD8 => break,
            // Stuffed byte, TEM, restart markers: no length.
            0x00 | 0x01 | 0xD0..=0xD7 => {
                at = body;
                continue;
            }
            _ => {}
        }
        let Some((segment, after)) = segment(bytes, body) else {
            break;
        };
        at = after;
        match marker {
            0xC4 => tables.define(segment),
            0xDD if segment.len() >= 2 => {
                tables.restart = u32::from(u16::from_be_bytes([segment[0], segment[1]]));
            }
            // 0xC4 (above), 0xC8 and 0xCC are no frame headers.
            0xC0..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF if layout.is_none() => {
                layout = Some(frame(marker, segment)?);
            }
            0xDA => {
                let layout = layout.as_mut()?;
                let end = at + scan_length(&bytes[at..]);
                layout.scans += 1;
                layout.whole &= scan(layout, segment, at..end, &tables);
                at = end;
            }
            _ => {}
        }
    }
    layout
}

/// The next marker's code and the offset just past it.
fn next_marker(bytes: &[u8], mut at: usize) -> Option<(u8, usize)> {
    while *bytes.get(at)? != 0xFF {
        at += 1;
    }
    while *bytes.get(at)? == 0xFF {
        at += 1;
    }
    Some((bytes[at], at + 1))
}

/// A segment's contents after its length field, and the offset just past it.
fn segment(bytes: &[u8], at: usize) -> Option<(&[u8], usize)> {
    let length = usize::from(u16::from_be_bytes([*bytes.get(at)?, *bytes.get(at + 1)?]));
    let contents = bytes.get(at + 2..at + length)?;
    Some((contents, at + length))
}

/// How many bytes of entropy-coded data, restart markers among them, come before the next other marker.
fn scan_length(data: &[u8]) -> usize {
    let mut at = 0;
    while at < data.len() {
        if data[at] == 0xFF
            && let Some(next) = data.get(at + 1)
            && !matches!(next, 0x00 | 0xD0..=0xD7 | 0xFF)
        {
            return at;
        }
        at += 1;
    }
    data.len()
}

fn frame(marker: u8, segment: &[u8]) -> Option<Layout> {
    let [precision, h1, h0, w1, w0, count, rest @ ..] = segment else {
        return None;
    };
    let components = rest
        .chunks_exact(3)
        .take(usize::from(*count))
        .map(|c| Component {
            id: c[0],
            h: u32::from(c[1] >> 4),
            v: u32::from(c[1] & 15),
            given: 0,
        })
        .collect::<Vec<_>>();
    Some(Layout {
        width: u32::from(u16::from_be_bytes([*w1, *w0])),
        height: u32::from(u16::from_be_bytes([*h1, *h0])),
        precision: *precision,
        frame: marker,
        end: None,
        scans: 0,
        whole: components.len() == usize::from(*count),
        countable: Vec::new(),
        components,
    })
}

/// Notes what a scan gives of which components; false if it is nonsense.
fn scan(layout: &mut Layout, header: &[u8], data: Range<usize>, tables: &Tables) -> bool {
    let Some((&count, rest)) = header.split_first().filter(|_| header.len() >= 6) else {
        return false;
    };
    let progressive = layout.frame == 0xC2;
    let gives = match header[header.len() - 3..] {
        _ if !progressive => u64::MAX,
        // First and last coefficient; the low half of the third byte counts the bits still to come (T.81 G.1.1.1).
        [first, last, bits] if bits & 15 == 0 && first <= last && last < 64 => {
            (u64::MAX << first) & (u64::MAX >> (63 - last))
        }
        _ => 0,
    };
    let mut blocks = Vec::new();
    let (mut last, mut most) = (None, (1, 1));
    for pair in rest.chunks_exact(2).take(usize::from(count)) {
        let Some(component) = layout.components.iter_mut().find(|c| c.id == pair[0]) else {
            return false;
        };
        // A sequential picture gives each component in one scan (T.81; from memory).
        if !progressive && component.given != 0 {
            return false;
        }
        component.given |= gives;
        last = Some((component.h, component.v));
        let dc = tables.dc[usize::from(pair[1] >> 4) & 3].as_ref();
        let ac = tables.ac[usize::from(pair[1] & 15) & 3].as_ref();
        if let (Some(dc), Some(ac)) = (dc, ac) {
            let in_unit = if count == 1 {
                1
            } else {
                component.h * component.v
            };
            blocks.extend((0..in_unit).map(|_| (dc.clone(), ac.clone())));
        }
    }
    for c in &layout.components {
        most = (most.0.max(c.h), most.1.max(c.v));
    }
    let Some((h, v)) = last else { return false };
    if !matches!(layout.frame, 0xC0 | 0xC1) || blocks.is_empty() {
        return true;
    }
    // T.81 A.2: one component alone is coded block by block over its own size, several in units of the largest factors.
    let across = |size: u32, own: u32, most: u32| {
        if count == 1 {
            (size * own).div_ceil(most).div_ceil(8)
        } else {
            size.div_ceil(8 * most)
        }
    };
    let units = across(layout.width, h, most.0) * across(layout.height, v, most.1);
    let interval = if tables.restart == 0 {
        units
    } else {
        tables.restart
    };
    layout.countable.push(Scan {
        blocks,
        units,
        interval,
        data,
    });
    true
}

impl Layout {
    /// Whether the picture is all there: no scan is missing, and each sequential one holds as many blocks as it has to.
    ///
    /// Only sequential Huffman scans are counted. Codes that no table has end the count with `true`: such damage is for the
    /// strict decoder to report. `bytes` are those the layout was made from.
    pub fn complete(&self, bytes: &[u8]) -> bool {
        self.whole
            && self
                .countable
                .iter()
                .all(|scan| scan.complete(&bytes[scan.data.clone()]))
    }
}

impl Scan {
    fn complete(&self, data: &[u8]) -> bool {
        let mut left = self.units;
        for stretch in restart_stretches(data) {
            let wanted = self.interval.min(left);
            let mut bits = Bits::new(stretch);
            for _ in 0..wanted {
                for (dc, ac) in &self.blocks {
                    if bits.skip_block(dc, ac).is_none() {
                        return true;
                    }
                }
                if bits.ran_out() {
                    return false;
                }
            }
            left -= wanted;
        }
        left == 0
    }
}

/// The stretches of entropy-coded data between restart markers.
fn restart_stretches(data: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut rest = Some(data);
    std::iter::from_fn(move || {
        let now = rest?;
        let cut = now
            .windows(2)
            .position(|w| w[0] == 0xFF && matches!(w[1], 0xD0..=0xD7));
        rest = cut.map(|at| &now[at + 2..]);
        Some(&now[..cut.unwrap_or(now.len())])
    })
}

/// Huffman tables and restart interval in force.
#[derive(Default)]
struct Tables {
    dc: [Option<Arc<Huffman>>; 4],
    ac: [Option<Arc<Huffman>>; 4],
    /// Units between restart markers; 0 is none.
    restart: u32,
}

impl Tables {
    fn define(&mut self, mut segment: &[u8]) {
        while segment.len() >= 17 {
            let counts = &segment[1..17];
            let total: usize = counts.iter().map(|&c| usize::from(c)).sum();
            let Some(symbols) = segment.get(17..17 + total) else {
                return;
            };
            let place = usize::from(segment[0] & 3);
            if segment[0] >> 4 == 0 {
                self.dc[place] = Some(Arc::new(Huffman::new(counts, symbols, dc_pass)));
            } else {
                self.ac[place] = Some(Arc::new(Huffman::new(counts, symbols, ac_pass)));
            }
            segment = &segment[17 + total..];
        }
    }
}

/// What to pass over when a code has been seen.
#[derive(Debug, Clone, Copy, Default)]
struct Pass {
    /// Bits of the code and of the value that follows it; 0 if there is no such code.
    bits: u8,
    /// Coefficients.
    coefficients: u8,
}

/// A code of the first coefficient tells the size of its value (T.81 F.2.2.1), at most 16 bits.
fn dc_pass(length: u8, symbol: u8) -> Pass {
    Pass {
        bits: length + symbol.min(16),
        coefficients: 1,
    }
}

/// A code of the others tells a run of zeros and the size of the value after it (T.81 F.2.2.2).
fn ac_pass(length: u8, symbol: u8) -> Pass {
    let (run, size) = (symbol >> 4, symbol & 15);
    Pass {
        bits: length + size,
        coefficients: match (run, size) {
            (15, 0) => 16,
            // The end of the block.
            (_, 0) => 64,
            _ => run + 1,
        },
    }
}

/// Codes of up to so many bits are looked up at once; longer ones are rare, and searched for.
const SHORT: u32 = 10;

/// A Huffman table, as far as passing over its codes needs it.
#[derive(Debug)]
struct Huffman {
    /// By the first bits.
    short: [Pass; 1 << SHORT],
    /// Longer codes: the first 16-bit pattern past each, in rising order, and what to pass over.
    long: Vec<(u32, Pass)>,
}

impl Huffman {
    /// T.81 annex C: codes of a length follow one another, longer ones follow the shorter. Codes beyond all patterns are left
    /// out.
    fn new(counts: &[u8], symbols: &[u8], pass: fn(u8, u8) -> Pass) -> Huffman {
        let mut short = [Pass::default(); 1 << SHORT];
        let mut long = Vec::new();
        let mut symbols = symbols.iter();
        let mut from = 0u32;
        for (length, &count) in (1u8..).zip(counts) {
            for &symbol in symbols.by_ref().take(usize::from(count)) {
                let next = (from + (1 << (16 - length))).min(1 << 16);
                let pass = pass(length, symbol);
                if u32::from(length) <= SHORT {
                    let step = 16 - SHORT;
                    short[(from >> step) as usize..(next >> step) as usize].fill(pass);
                } else if next > from {
                    long.push((next, pass));
                }
                from = next;
            }
        }
        Huffman { short, long }
    }

    /// What the code at the front of a 16-bit pattern passes over.
    fn pass(&self, pattern: u32) -> Pass {
        let short = self.short[(pattern >> (16 - SHORT)) as usize];
        if short.bits > 0 {
            return short;
        }
        let at = self.long.partition_point(|(next, _)| *next <= pattern);
        self.long.get(at).map_or(short, |(_, pass)| *pass)
    }
}

/// Reads entropy-coded bits; past the end it reads zeros and remembers how many.
struct Bits<'a> {
    data: &'a [u8],
    at: usize,
    /// The next bits, at the low end.
    held: u64,
    /// How many bits are held.
    count: u32,
    /// How many of them, at the very end, were made up.
    made_up: u32,
}

impl<'a> Bits<'a> {
    fn new(data: &'a [u8]) -> Self {
        Bits {
            data,
            at: 0,
            held: 0,
            count: 0,
            made_up: 0,
        }
    }

    /// Makes sure that a code (16 bits at most) and its value (16 at most) are held.
    fn refill(&mut self) {
        if let Some(next) = self.data.get(self.at..self.at + 4) {
            let next = u32::from_be_bytes([next[0], next[1], next[2], next[3]]);
            // No byte is 0xFF if none of the complement is zero.
            let rest = !next;
            if rest.wrapping_sub(0x0101_0101) & next & 0x8080_8080 == 0 {
                self.held = self.held << 32 | u64::from(next);
                self.count += 32;
                self.at += 4;
                return;
            }
        }
        while self.count <= 48 {
            let byte = match self.data.get(self.at) {
                Some(&byte) => {
                    // A stuffed zero byte follows 0xFF.
                    self.at += if byte == 0xFF { 2 } else { 1 };
                    byte
                }
                None => {
                    self.made_up = self.made_up.saturating_add(8);
                    0
                }
            };
            self.held = self.held << 8 | u64::from(byte);
            self.count += 8;
        }
    }

    /// Passes over a code and its value, and tells over how many coefficients; `None` if there is no such code.
    fn pass(&mut self, table: &Huffman) -> Option<u32> {
        if self.count < 32 {
            self.refill();
        }
        let pass = table.pass((self.held >> (self.count - 16) & 0xFFFF) as u32);
        self.count -= u32::from(pass.bits);
        (pass.bits > 0).then_some(u32::from(pass.coefficients))
    }

    /// Passes over one block of 64 coefficients (T.81 F.2.2).
    fn skip_block(&mut self, dc: &Huffman, ac: &Huffman) -> Option<()> {
        let mut k = self.pass(dc)?;
        while k < 64 {
            k += self.pass(ac)?;
        }
        Some(())
    }

    /// Whether bits past the end were used.
    fn ran_out(&self) -> bool {
        self.made_up > self.count
    }
}
