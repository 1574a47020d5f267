//! A table as a Parquet file: optional columns of UTF8, DOUBLE and INT64, written with the parquet crate's own
//! column writer (its arrow feature would make compiling minutes longer).

use std::io::{self, Write};
use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::Type;

use super::{Cells, Table};

/// Rows of one row group: small enough to hold, large enough to scan fast.
const GROUP_ROWS: usize = 1 << 20;

/// Writes `table`.
///
/// # Errors
/// What `out` gives.
pub fn write(table: &Table, out: impl Write + Send) -> io::Result<()> {
    put(table, out).map_err(|error| match error {
        parquet::errors::ParquetError::External(inner) => match inner.downcast::<io::Error>() {
            Ok(error) => *error,
            Err(inner) => io::Error::other(inner),
        },
        other => io::Error::other(other),
    })
}

fn put(table: &Table, out: impl Write + Send) -> parquet::errors::Result<()> {
    let fields = table.columns.iter().map(|(heading, cells)| field(heading, cells));
    let fields = fields.collect::<Result<Vec<_>, _>>()?;
    let schema = Type::group_type_builder("edgewitness")
        .with_fields(fields)
        .build()?;
    let properties = WriterProperties::builder()
        .set_created_by(concat!("edgewitness ", env!("CARGO_PKG_VERSION")).to_owned())
        .build();
    let mut file = SerializedFileWriter::new(out, Arc::new(schema), Arc::new(properties))?;
    let mut start = 0;
    while start < table.rows() {
        let rows = start..table.rows().min(start + GROUP_ROWS);
        start = rows.end;
        let mut group = file.next_row_group()?;
        for (_, cells) in &table.columns {
            let mut column = group
                .next_column()?
                .expect("a writer for each column of the schema");
            match cells {
                Cells::Text(cells) => {
                    column_of::<ByteArrayType, _>(&mut column, &cells[rows.clone()], |c| {
                        ByteArray::from(c.as_str())
                    })?
                }
                Cells::Real(cells) => column_of::<DoubleType, _>(&mut column, &cells[rows.clone()], |c| *c)?,
                Cells::Count(cells) => column_of::<Int64Type, _>(&mut column, &cells[rows.clone()], |c| *c)?,
            }
            column.close()?;
        }
        group.close()?;
    }
    file.close()?;
    Ok(())
}

fn field(heading: &str, cells: &Cells) -> parquet::errors::Result<Arc<Type>> {
    let (physical, logical) = match cells {
        Cells::Text(_) => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        Cells::Real(_) => (Physical::DOUBLE, None),
        Cells::Count(_) => (Physical::INT64, None),
    };
    let field = Type::primitive_type_builder(heading, physical)
        .with_repetition(Repetition::OPTIONAL)
        .with_logical_type(logical);
    Ok(Arc::new(field.build()?))
}

/// Definition level 1 where there is a value, 0 where it is unknown.
fn column_of<D: DataType, T>(
    column: &mut SerializedColumnWriter,
    cells: &[Option<T>],
    value: impl Fn(&T) -> D::T,
) -> parquet::errors::Result<()> {
    let levels: Vec<i16> = cells.iter().map(|cell| i16::from(cell.is_some())).collect();
    let values: Vec<D::T> = cells.iter().flatten().map(value).collect();
    column.typed::<D>().write_batch(&values, Some(&levels), None)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use parquet::file::reader::{FileReader, SerializedFileReader};

    #[test]
    fn a_table_is_read_back_with_its_unknowns() {
        let table = Table {
            columns: vec![
                ("line", Cells::Text(vec![Some("µ CLEAR_N".to_owned()), None])),
                ("lag_s", Cells::Real(vec![None, Some(1.2e-8)])),
                ("strays", Cells::Count(vec![Some(-3), Some(1 << 40)])),
            ],
        };
        let mut out = Vec::new();
        write(&table, &mut out).unwrap();
        let file = tempfile::tempfile().unwrap();
        (&file).write_all(&out).unwrap();
        let reader = SerializedFileReader::new(file).unwrap();
        let rows: Vec<String> = reader
            .get_row_iter(None)
            .unwrap()
            .map(|row| row.unwrap().to_string())
            .collect();
        assert_eq!(
            rows,
            [
                "{line: \"µ CLEAR_N\", lag_s: null, strays: -3}",
                "{line: null, lag_s: 0.000000012, strays: 1099511627776}"
            ]
        );
    }

    #[test]
    fn an_empty_table_keeps_its_columns() {
        let table = Table {
            columns: vec![("line", Cells::Text(Vec::new()))],
        };
        let mut out = Vec::new();
        write(&table, &mut out).unwrap();
        let file = tempfile::tempfile().unwrap();
        (&file).write_all(&out).unwrap();
        let reader = SerializedFileReader::new(file).unwrap();
        assert_eq!(reader.metadata().file_metadata().num_rows(), 0);
        assert_eq!(reader.metadata().file_metadata().schema_descr().num_columns(), 1);
    }
}
