//! Apache Parquet. What each column holds stands in the file's key-value metadata, under
//! `column:<name>`.

use std::fs::File;
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use ::parquet::basic::Compression;
use ::parquet::data_type::{ByteArray, ByteArrayType, DoubleType};
use ::parquet::errors::ParquetError;
use ::parquet::file::metadata::KeyValue;
use ::parquet::file::properties::WriterProperties;
use ::parquet::file::reader::{FileReader, SerializedFileReader};
use ::parquet::file::writer::SerializedFileWriter;
use ::parquet::record::Field as Cell;
use ::parquet::schema::parser::parse_message_type;

use super::{COLUMNS, Field, NEEDED, Score, ScoresError};

/// Rows that are kept until they are written together: more make a smaller file, fewer less
/// memory.
const GROUP: usize = 50_000;

pub struct Writer<W: Write + Send> {
    file: SerializedFileWriter<W>,
    group: Vec<Score>,
}

impl<W: Write + Send> Writer<W> {
    pub fn new(to: W) -> Result<Self, ScoresError> {
        let columns: String = COLUMNS
            .iter()
            .map(|column| match column.field {
                Field::Text(_) => format!("REQUIRED BYTE_ARRAY {} (STRING);", column.name),
                Field::Number(_) => format!("OPTIONAL DOUBLE {};", column.name),
            })
            .collect();
        let schema = parse_message_type(&format!("message scores {{ {columns} }}"))?;
        let described = COLUMNS.iter().map(|column| KeyValue {
            key: format!("column:{}", column.name),
            value: Some(column.description.to_owned()),
        });
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_created_by("tragus".to_owned())
            .set_key_value_metadata(Some(described.collect()))
            .build();
        Ok(Writer {
            file: SerializedFileWriter::new(to, Arc::new(schema), Arc::new(properties))?,
            group: Vec::new(),
        })
    }

    pub fn write(&mut self, score: &Score) -> Result<(), ScoresError> {
        self.group.push(score.clone());
        if self.group.len() >= GROUP {
            self.write_group()?;
        }
        Ok(())
    }

    fn write_group(&mut self) -> Result<(), ScoresError> {
        let mut group = self.file.next_row_group()?;
        for column in &COLUMNS {
            let mut to = group
                .next_column()?
                .expect("the schema was made from these columns");
            match column.field {
                Field::Text(of) => {
                    let values: Vec<ByteArray> =
                        self.group.iter().map(|score| of(score).into()).collect();
                    to.typed::<ByteArrayType>()
                        .write_batch(&values, None, None)?;
                }
                Field::Number(of) => {
                    let numbers = || self.group.iter().map(of);
                    let present: Vec<i16> = numbers().map(|n| i16::from(n.is_some())).collect();
                    let values: Vec<f64> = numbers().flatten().collect();
                    to.typed::<DoubleType>()
                        .write_batch(&values, Some(&present), None)?;
                }
            }
            to.close()?;
        }
        group.close()?;
        self.group.clear();
        Ok(())
    }

    pub fn finish(mut self) -> Result<W, ScoresError> {
        if !self.group.is_empty() {
            self.write_group()?;
        }
        Ok(self.file.into_inner()?)
    }
}

pub fn read(from: File) -> Result<Vec<Score>, ScoresError> {
    // The library panics at some tables that are damaged.
    catch_unwind(AssertUnwindSafe(|| read_sound(from)))
        .unwrap_or_else(|_| Err(ScoresError::Parquet("it is damaged".to_owned())))
}

fn read_sound(from: File) -> Result<Vec<Score>, ScoresError> {
    let file = SerializedFileReader::new(from)?;
    let schema = file.metadata().file_metadata().schema_descr();
    for needed in NEEDED {
        if !schema
            .columns()
            .iter()
            .any(|column| column.name() == needed)
        {
            return Err(ScoresError::NoColumn(needed));
        }
    }
    let mut scores = Vec::new();
    for (index, row) in file.get_row_iter(None)?.enumerate() {
        let mut score = Score::default();
        for (name, field) in row?.get_column_iter() {
            put(&mut score, name, field).map_err(|detail| ScoresError::Line {
                line: index as u64 + 1,
                detail,
            })?;
        }
        scores.push(score);
    }
    Ok(scores)
}

fn put(score: &mut Score, column: &str, field: &Cell) -> Result<(), String> {
    let number = || match field {
        Cell::Null => Ok(None),
        Cell::Double(value) if value.is_nan() => Ok(None),
        Cell::Double(value) if value.is_finite() => Ok(Some(*value)),
        Cell::Float(value) => Ok(Some(f64::from(*value))),
        Cell::Int(value) => Ok(Some(f64::from(*value))),
        Cell::Long(value) => Ok(Some(*value as f64)),
        other => Err(format!("{column} is {other}, expected a number")),
    };
    let text = || match field {
        Cell::Null => Ok(String::new()),
        Cell::Str(text) => Ok(text.clone()),
        other => Err(format!("{column} is {other}, expected text")),
    };
    match column {
        "photo" => score.photo = text()?,
        "person" => score.person = text()?,
        "view" => score.view = text()?,
        "task" => score.task = text()?,
        "measure" => score.measure = text()?,
        "side" => score.side = text()?,
        "value" => score.value = number()?,
        "sigma" => score.sigma = number()?,
        "unit" => score.unit = text()?,
        "status" => score.status = text()?,
        "reason" => score.reason = text()?,
        _ => {}
    }
    Ok(())
}

impl From<ParquetError> for ScoresError {
    fn from(error: ParquetError) -> Self {
        ScoresError::Parquet(error.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Found by fuzzing: a column that begins before its file does.
    #[test]
    fn a_table_with_any_byte_changed_is_read_or_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("scores.parquet");
        let mut writer = Writer::new(Vec::new()).unwrap();
        for photo in ["a.jpg", "b.jpg"] {
            let score = Score::without_measure(photo, "", "no person was found");
            writer.write(&score).unwrap();
        }
        let whole = writer.finish().unwrap();
        let read_from = |bytes: &[u8]| {
            std::fs::write(&path, bytes).unwrap();
            read(File::open(&path).unwrap())
        };
        assert_eq!(read_from(&whole).unwrap().len(), 2);
        let mut refused = 0;
        for at in 0..whole.len() {
            for change in [0x01, 0x80, 0xff] {
                let mut bytes = whole.clone();
                bytes[at] ^= change;
                refused += usize::from(read_from(&bytes).is_err());
            }
        }
        assert!(refused > whole.len() / 4, "{refused} of {}", whole.len());
    }
}
