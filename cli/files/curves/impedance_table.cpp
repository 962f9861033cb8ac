// Tables of impedance: CSV with commas, semicolons or tabs, and text with columns parted by spaces.
//
// Degrees or radians where nothing says which: the impedance of a passive part stays within 90 degrees.
// Numbers beyond 1.62 (a little over a quarter turn in radians) are therefore degrees. Numbers below that may
// be either; then Bode's relation between magnitude and phase of a passive, minimum-phase impedance decides
// where it can: a phase that never exceeds p radians lets ln|Z| change by no more than about
// (2/pi)·p·ln(f2/f1) over the band (H. W. Bode, "Network Analysis and Feedback Amplifier Design", 1945, from
// memory). Read as degrees, they would allow a few per cent; a magnitude that changes by over four times as
// much says radians.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "analysis/units.h"
#include "cli/files/curves/impedance_header.h"
#include "cli/files/curves/impedance_rows.h"
#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

constexpr double radian_limit = 1.62;
constexpr double bode_margin = 4.0;
constexpr double harmless_phase = 1e-3;  // 0.001 rad or 0.001 degree: the curve is the same to 0.1 %

enum class Separator { comma, semicolon, tab, space };
constexpr std::array all_separators{Separator::tab, Separator::semicolon, Separator::comma, Separator::space};

bool is_comment(std::string_view line) {
    return line.starts_with('#') || line.starts_with('*') || line.starts_with('!') || line.starts_with('%') ||
           line.starts_with("//") || line.starts_with(';');
}

std::string_view without_comment_sign(std::string_view line) {
    return trimmed(line.substr(std::min(line.find_first_not_of("#*!%/; \t"), line.size())));
}

/// Cells between separators; quotes around a cell protect what is in it. A separator at the end of the line
/// opens no cell.
std::vector<std::string_view> cells_of(std::string_view line, Separator separator) {
    if (separator == Separator::space) return words_of(line);
    const char mark = separator == Separator::comma ? ',' : separator == Separator::semicolon ? ';' : '\t';
    std::vector<std::string_view> cells;
    std::size_t start = 0;
    bool quoted = false;
    for (std::size_t i = 0; i <= line.size(); ++i) {
        if (i < line.size() && line[i] == '"') quoted = !quoted;
        if (i < line.size() && (quoted || line[i] != mark)) continue;
        std::string_view cell = trimmed(line.substr(start, i - start));
        if (cell.size() > 1 && cell.front() == '"' && cell.back() == '"') {
            cell = trimmed(cell.substr(1, cell.size() - 2));
        }
        if (i < line.size() || !cell.empty()) cells.push_back(cell);
        start = i + 1;
    }
    return cells;
}

struct Shape {
    Separator separator = Separator::space;
    bool decimal_comma = false;
};

/// How a line of numbers is written: none if it is no line of at least two numbers.
std::optional<Shape> shape_of_numbers(std::string_view line) {
    Shape shape;
    if (line.find(';') != std::string_view::npos || line.find('\t') != std::string_view::npos) {
        shape.separator = line.find(';') != std::string_view::npos ? Separator::semicolon : Separator::tab;
        // A comma may also stand in the words of a column that is not read.
        const auto cells = cells_of(line, shape.separator);
        shape.decimal_comma = std::any_of(cells.begin(), cells.end(), [](std::string_view cell) {
            return cell.find(',') != std::string_view::npos && number_in(cell, true);
        });
    } else {
        const auto words = words_of(line);
        const bool comma_at_edge = std::any_of(words.begin(), words.end(), [](std::string_view word) {
            return word.front() == ',' || word.back() == ',';
        });
        const bool comma = line.find(',') != std::string_view::npos;
        const bool spaces = words.size() >= 3 && !comma_at_edge;
        shape = {comma && !spaces ? Separator::comma : Separator::space, comma && spaces};
    }
    const auto cells = cells_of(line, shape.separator);
    if (cells.size() < 2 || !number_in(cells[0], shape.decimal_comma)) return std::nullopt;
    return shape;
}

/// Does the line begin with something that was meant as a number?
bool begins_with_digit(std::string_view line) {
    const std::size_t first = line.find_first_not_of("\"+-. \t");
    return first != std::string_view::npos && line[first] >= '0' && line[first] <= '9';
}

/// A header as cells that are as many as the columns, by one of the ways to part it.
std::vector<std::string_view> header_cells(std::string_view header, Separator data_separator,
                                           std::size_t columns) {
    for (const Separator separator :
         {data_separator, Separator::tab, Separator::semicolon, Separator::comma, Separator::space}) {
        auto cells = cells_of(header, separator);
        if (cells.size() == columns && looks_like_header(cells)) return cells;
    }
    // Names of several words between wide gaps, and units in brackets after a space: "Freq (Hz)  Z (ohm)".
    std::vector<std::string_view> wide;
    std::vector<std::string_view> joined;
    for (const std::string_view word : words_of(header)) {
        const auto begin = static_cast<std::size_t>(word.data() - header.data());
        const auto end = begin + word.size();
        const auto join = [&](std::vector<std::string_view>& cells) {
            const auto start = static_cast<std::size_t>(cells.back().data() - header.data());
            cells.back() = header.substr(start, end - start);
        };
        if (!wide.empty()) {
            const std::size_t before =
                static_cast<std::size_t>(wide.back().data() - header.data()) + wide.back().size();
            if (begin - before == 1 && header[before] == ' ') {
                join(wide);
            } else {
                wide.push_back(word);
            }
        } else {
            wide.push_back(word);
        }
        if (!joined.empty() && (word.front() == '(' || word.front() == '[')) {
            join(joined);
        } else {
            joined.push_back(word);
        }
    }
    for (const auto& cells : {wide, joined}) {
        if (cells.size() == columns && looks_like_header(cells)) return cells;
    }
    return {};
}

bool names_columns(std::string_view line) {
    return std::any_of(all_separators.begin(), all_separators.end(),
                       [&](Separator separator) { return looks_like_header(cells_of(line, separator)); });
}

struct Table {
    Shape shape{};
    TableColumns columns{};
    std::size_t first_line = 0;  // index of the first line of numbers
};

capture::Result<Table> find_table(const std::string& name, const std::vector<std::string_view>& lines) {
    Table table;
    std::vector<std::pair<std::size_t, std::string_view>> preface;
    bool title = false;
    bool headed = false;  // from here on, a line that begins with a digit is data
    std::optional<Shape> shape;
    for (; table.first_line < lines.size(); ++table.first_line) {
        const std::string_view line = trimmed(lines[table.first_line]);
        if (line.empty()) continue;
        if (is_comment(line)) {
            preface.emplace_back(table.first_line, without_comment_sign(line));
            headed = headed || names_columns(preface.back().second);
            continue;
        }
        shape = shape_of_numbers(line);
        if (shape || (headed && begins_with_digit(line))) break;
        headed = headed || names_columns(line);
        preface.emplace_back(table.first_line, line);
        title = true;
    }
    if (!shape) {
        const std::size_t line = std::min(table.first_line, lines.empty() ? 0 : lines.size() - 1);
        return wrong_line(name, static_cast<int>(line) + 1, "no line of numbers is found up to here",
                          "export frequency, magnitude and phase as CSV or text, or as Touchstone (.s1p)");
    }
    table.shape = *shape;
    const std::size_t count = cells_of(trimmed(lines[table.first_line]), shape->separator).size();
    for (auto entry = preface.rbegin(); entry != preface.rend(); ++entry) {
        const auto cells = header_cells(entry->second, shape->separator, count);
        if (cells.empty()) continue;
        auto columns = table_columns(name, static_cast<int>(entry->first) + 1, cells);
        if (!columns) return tl::unexpected(columns.error());
        table.columns = *columns;
        return table;
    }
    const int line = static_cast<int>(table.first_line) + 1;
    if (title) {
        // The line above the numbers was meant as their header; say what is wrong with it.
        const auto& [at, text] = preface.back();
        auto cells = cells_of(text, shape->separator);
        if (cells.size() != count) {
            return wrong_line(name, line,
                              fmt::format("{} numbers below a header of {} columns", count, cells.size()),
                              "name each column once; a decimal comma needs semicolons between the columns");
        }
        auto columns = table_columns(name, static_cast<int>(at) + 1, cells);
        if (!columns) return tl::unexpected(columns.error());
        table.columns = *columns;
        return table;
    }
    if (count != 3) {
        return wrong_line(name, line, fmt::format("{} columns without a header", count),
                          "write a header such as frequency_hz,magnitude_ohm,phase_deg");
    }
    return table;
}

/// Why a cell cannot be read.
tl::unexpected<capture::Fault> not_a_number(const std::string& name, int line, std::size_t column,
                                            std::string_view cell, bool decimal_comma) {
    const std::string shown = "\"" + visible_text(cell, 40) + "\"";
    if (cell.empty())
        return wrong_line(name, line, fmt::format("column {} is empty", column + 1),
                          "mend the number or take the line out");
    if (decimal_comma && number_in(cell, false))
        return wrong_line(name, line, shown + " has a point where other numbers have a decimal comma",
                          "write all numbers in one way, without signs between thousands");
    return wrong_line(name, line, shown + " is not a finite number", "mend the number or take the line out");
}

/// "deg" or "rad" from the numbers alone, empty where both are possible and differ.
std::string phase_unit_of(const std::vector<ImpedanceRow>& rows) {
    double most = 0.0;
    double least_ohm = rows.front().z_ohm.real();
    double most_ohm = least_ohm;
    double first_hz = rows.front().frequency_hz;
    double last_hz = first_hz;
    for (const ImpedanceRow& row : rows) {
        most = std::max(most, std::abs(row.z_ohm.imag()));
        least_ohm = std::min(least_ohm, row.z_ohm.real());
        most_ohm = std::max(most_ohm, row.z_ohm.real());
        first_hz = std::min(first_hz, row.frequency_hz);
        last_hz = std::max(last_hz, row.frequency_hz);
    }
    if (most > radian_limit || most <= harmless_phase) return "deg";
    if (!(least_ohm > 0.0) || !(first_hz > 0.0)) return {};
    const double most_as_degrees = most * analysis::radians;
    const double allowed = 2.0 / std::numbers::pi * most_as_degrees * std::log(last_hz / first_hz);
    return std::log(most_ohm / least_ohm) > bode_margin * allowed ? "rad" : "";
}

}  // namespace

capture::Result<std::vector<ImpedanceRow>> read_impedance_table(const std::string& name,
                                                                const std::vector<std::string_view>& lines) {
    const auto table = find_table(name, lines);
    if (!table) return tl::unexpected(table.error());
    const TableColumns& columns = table->columns;
    std::vector<ImpedanceRow> rows;
    for (std::size_t i = table->first_line; i < lines.size(); ++i) {
        const std::string_view text = trimmed(lines[i]);
        if (text.empty() || is_comment(text)) continue;
        const int line = static_cast<int>(i) + 1;
        const auto cells = cells_of(text, table->shape.separator);
        if (cells.size() != columns.count) {
            return wrong_line(name, line,
                              fmt::format("{} column{} where {} are expected", cells.size(),
                                          cells.size() == 1 ? "" : "s", columns.count),
                              "a decimal comma needs semicolons between the columns");
        }
        bool fine = true;
        const auto number = [&](std::size_t column) {
            const auto value = number_in(cells[column], table->shape.decimal_comma);
            fine = fine && value.has_value();
            return value.value_or(0.0);
        };
        // Magnitude and phase are kept as they stand until the unit of the phase is known.
        ImpedanceRow row{line,
                         columns.hz_per_unit * number(columns.frequency),
                         {columns.first_ohm_per_unit * number(columns.first),
                          columns.second_ohm_per_unit * number(columns.second)},
                         columns.scatter ? columns.scatter_ohm_per_unit * number(*columns.scatter) : 0.0};
        if (!fine) {
            for (const std::size_t column : {columns.frequency, columns.first, columns.second,
                                             columns.scatter.value_or(columns.frequency)}) {
                if (number_in(cells[column], table->shape.decimal_comma)) continue;
                return not_a_number(name, line, column, cells[column], table->shape.decimal_comma);
            }
        }
        if (columns.polar && row.z_ohm.real() < 0.0) {
            return wrong_line(name, line, "a magnitude below zero",
                              "check which column is the magnitude, and its unit (ohm, not dB)");
        }
        if (row.scatter_ohm < 0.0) return wrong_line(name, line, "a scatter below zero", "check the column");
        rows.push_back(row);
    }
    if (!columns.polar) return rows;
    const std::string unit = columns.phase_unit.empty() ? phase_unit_of(rows) : columns.phase_unit;
    if (unit.empty()) {
        return wrong_line(name, rows.front().line, "the phase may be in degrees or in radians",
                          "name the unit in a header: phase_deg or phase_rad");
    }
    const double radians_per_unit = unit == "deg" ? analysis::radians : 1.0;
    for (ImpedanceRow& row : rows) {
        const double phase = radians_per_unit * row.z_ohm.imag();
        if (std::abs(phase) > analysis::two_pi * (1.0 + 1e-9)) {
            return wrong_line(name, row.line, fmt::format("a phase of {} {}", row.z_ohm.imag(), unit),
                              "check the unit of the phase");
        }
        row.z_ohm = std::polar(row.z_ohm.real(), phase);
    }
    return rows;
}

}  // namespace assay::cli
