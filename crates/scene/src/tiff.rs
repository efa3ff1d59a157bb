//! A small TIFF writer: directories of tags with data, in either byte order.

/// Byte order of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ByteOrder {
    /// Least significant byte first ("II").
    #[default]
    Little,
    /// Most significant byte first ("MM").
    Big,
}

/// Value of a tag.
#[derive(Debug, Clone)]
pub(crate) enum Value {
    Byte(Vec<u8>),
    Text(String),
    Short(Vec<u16>),
    Long(Vec<u32>),
    Rational(Vec<(u32, u32)>),
    SignedRational(Vec<(i32, i32)>),
    Double(Vec<f64>),
    Undefined(Vec<u8>),
    /// Pieces of image data: becomes their offsets (Long).
    Pieces(Vec<Vec<u8>>),
    /// Directories: becomes their offsets (Long).
    Directories(Vec<Directory>),
}

/// An image file directory.
#[derive(Debug, Clone, Default)]
pub(crate) struct Directory(Vec<(u16, Value)>);

impl Directory {
    pub(crate) fn set(&mut self, tag: u16, value: Value) -> &mut Self {
        self.0.retain(|(t, _)| *t != tag);
        self.0.push((tag, value));
        self
    }
}

pub(crate) fn short(v: usize) -> Value {
    Value::Short(vec![v as u16])
}

pub(crate) fn long(v: usize) -> Value {
    Value::Long(vec![v as u32])
}

pub(crate) fn text(v: &str) -> Value {
    Value::Text(v.into())
}

/// A positive number as a fraction with four digits or, below 1, as a reciprocal where that is exact.
pub(crate) fn rational(v: f64) -> (u32, u32) {
    if v > 0.0 && v < 1.0 && ((1.0 / v).round() * v - 1.0).abs() < 1e-9 {
        return (1, (1.0 / v).round() as u32);
    }
    let scale = if v < 400_000.0 { 10_000.0 } else { 1.0 };
    ((v * scale).round() as u32, scale as u32)
}

/// The whole file with `first` as its first directory.
pub(crate) fn write(order: ByteOrder, first: Directory) -> Vec<u8> {
    let mut out = Writer { order, bytes: Vec::new() };
    out.bytes.extend(match order {
        ByteOrder::Little => b"II",
        ByteOrder::Big => b"MM",
    });
    out.short(42);
    out.long(0);
    let at = out.directory(first);
    let mut header = Writer { order, bytes: Vec::new() };
    header.long(at);
    out.bytes[4..8].copy_from_slice(&header.bytes);
    out.bytes
}

struct Writer {
    order: ByteOrder,
    bytes: Vec<u8>,
}

impl Writer {
    fn short(&mut self, v: u16) {
        self.bytes.extend(match self.order {
            ByteOrder::Little => v.to_le_bytes(),
            ByteOrder::Big => v.to_be_bytes(),
        });
    }

    fn long(&mut self, v: u32) {
        self.bytes.extend(match self.order {
            ByteOrder::Little => v.to_le_bytes(),
            ByteOrder::Big => v.to_be_bytes(),
        });
    }

    fn here(&mut self) -> u32 {
        if self.bytes.len() % 2 == 1 {
            self.bytes.push(0);
        }
        self.bytes.len() as u32
    }

    /// Writes the directory's data, then the directory; returns its offset.
    fn directory(&mut self, directory: Directory) -> u32 {
        let mut tags = directory.0;
        tags.sort_by_key(|(tag, _)| *tag);
        let mut entries = Vec::new();
        for (tag, value) in tags {
            let value = match value {
                Value::Pieces(pieces) => Value::Long(
                    pieces
                        .into_iter()
                        .map(|piece| {
                            let at = self.here();
                            self.bytes.extend(piece);
                            at
                        })
                        .collect(),
                ),
                Value::Directories(list) => Value::Long(list.into_iter().map(|d| self.directory(d)).collect()),
                other => other,
            };
            let mut data = Self { order: self.order, bytes: Vec::new() };
            let (kind, count) = data.value(&value);
            let field = if data.bytes.len() <= 4 {
                data.bytes.resize(4, 0);
                data.bytes
            } else {
                let at = self.here();
                self.bytes.extend(data.bytes);
                let mut offset = Self { order: self.order, bytes: Vec::new() };
                offset.long(at);
                offset.bytes
            };
            entries.push((tag, kind, count, field));
        }
        let at = self.here();
        self.short(entries.len() as u16);
        for (tag, kind, count, field) in entries {
            self.short(tag);
            self.short(kind);
            self.long(count);
            self.bytes.extend(field);
        }
        self.long(0);
        at
    }

    /// Appends a value; returns its TIFF type and count.
    fn value(&mut self, value: &Value) -> (u16, u32) {
        match value {
            Value::Byte(v) => {
                self.bytes.extend(v);
                (1, v.len() as u32)
            }
            Value::Text(v) => {
                self.bytes.extend(v.as_bytes());
                self.bytes.push(0);
                (2, v.len() as u32 + 1)
            }
            Value::Short(v) => {
                v.iter().for_each(|s| self.short(*s));
                (3, v.len() as u32)
            }
            Value::Long(v) => {
                v.iter().for_each(|s| self.long(*s));
                (4, v.len() as u32)
            }
            Value::Rational(v) => {
                for (n, d) in v {
                    self.long(*n);
                    self.long(*d);
                }
                (5, v.len() as u32)
            }
            Value::Undefined(v) => {
                self.bytes.extend(v);
                (7, v.len() as u32)
            }
            Value::SignedRational(v) => {
                for (n, d) in v {
                    self.long(*n as u32);
                    self.long(*d as u32);
                }
                (10, v.len() as u32)
            }
            Value::Double(v) => {
                for d in v {
                    self.bytes.extend(match self.order {
                        ByteOrder::Little => d.to_le_bytes(),
                        ByteOrder::Big => d.to_be_bytes(),
                    });
                }
                (12, v.len() as u32)
            }
            // Replaced by their offsets before.
            Value::Pieces(_) | Value::Directories(_) => (4, 0),
        }
    }
}
