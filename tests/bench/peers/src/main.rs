//! What general-purpose crates need for the same bytes: `peers edges|floats|vcd FILE`.

use std::fs::File;
use std::io::BufReader;

fn main() {
    let words: Vec<String> = std::env::args().collect();
    let [_, what, path] = words.as_slice() else {
        panic!("peers edges|floats|vcd FILE")
    };
    match what.as_str() {
        "edges" => edges(path),
        "floats" => floats(path),
        "vcd" => commands(path),
        _ => panic!("peers edges|floats|vcd FILE"),
    }
}

fn reader(path: &str) -> csv::Reader<File> {
    csv::Reader::from_path(path).expect("a table")
}

/// Edge times by column, as text becomes floats.
fn edges(path: &str) {
    let mut reader = reader(path);
    let mut record = csv::ByteRecord::new();
    let mut lists: Vec<Vec<f64>> = Vec::new();
    let mut last: Vec<u8> = Vec::new();
    while reader.read_byte_record(&mut record).expect("rows") {
        let levels = record.iter().skip(1).map(|cell| cell[0]);
        if last.is_empty() {
            last = levels.collect();
            lists.resize(last.len(), Vec::new());
            continue;
        }
        for (column, level) in levels.enumerate() {
            if level != last[column] {
                last[column] = level;
                let time = std::str::from_utf8(&record[0]).expect("text");
                lists[column].push(time.parse().expect("a time"));
            }
        }
    }
    println!("{}", lists.iter().map(Vec::len).sum::<usize>());
}

fn floats(path: &str) {
    let mut reader = reader(path);
    let mut record = csv::ByteRecord::new();
    let mut sum = 0.0;
    while reader.read_byte_record(&mut record).expect("rows") {
        for cell in &record {
            sum += std::str::from_utf8(cell).expect("text").parse::<f64>().expect("a number");
        }
    }
    println!("{sum}");
}

fn commands(path: &str) {
    let mut parser = vcd::Parser::new(BufReader::with_capacity(1 << 20, File::open(path).expect("a file")));
    parser.parse_header().expect("a header");
    println!("{}", parser.map(|command| command.expect("a command")).count());
}
