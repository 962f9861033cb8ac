#include "cli/files/curves/impedance_header.h"

#include <algorithm>
#include <array>
#include <cctype>

#include "cli/files/curves/impedance_rows.h"
#include "cli/files/plain_text.h"
#include "cli/files/utf8.h"

namespace assay::cli {
namespace {

constexpr const char* header_mend = "write a header such as frequency_hz,magnitude_ohm,phase_deg";

struct Synonym {
    std::string_view word;
    std::string_view means;
};

constexpr auto units = std::to_array<Synonym>({
    {"hz", "hz"},     {"hertz", "hz"},   {"khz", "khz"},     {"ohm", "ohm"},     {"ohms", "ohm"},
    {"kohm", "kohm"}, {"kohms", "kohm"}, {"mohm", "mohm"},   {"mohms", "mohm"},  {"milliohm", "mohm"},
    {"deg", "deg"},   {"degs", "deg"},   {"degree", "deg"},  {"degrees", "deg"}, {"rad", "rad"},
    {"rads", "rad"},  {"radian", "rad"}, {"radians", "rad"}, {"db", "db"},       {"dbohm", "db"},
    {"mhz", "mhz"},   {"ghz", "ghz"},
});

// Letters stay letters; the signs for ohm and degree become words; all else parts words. A single byte of the
// old one-byte encodings stands for "degree" as well.
std::vector<std::string> words_of_cell(std::string_view cell) {
    const std::string text = lower_case(cell);
    std::vector<std::string> words;
    std::string word;
    const auto close = [&] {
        if (!word.empty()) words.push_back(word);
        word.clear();
    };
    for (std::size_t i = 0; i < text.size();) {
        const Utf8Character c = next_character(text, i);
        const auto byte = static_cast<unsigned char>(text[i]);
        if (c.valid && (c.code == 0x3A9 || c.code == 0x3C9 || c.code == 0x2126)) {
            word += "ohm";  // joins a k or m before it
        } else if ((c.valid && c.code == 0xB0) || (!c.valid && byte == 0xB0)) {
            close();
            words.emplace_back("deg");
        } else if (c.valid && (c.code == 0x3C6 || c.code == 0x3D5)) {
            close();
            words.emplace_back("phase");
        } else if (c.valid && c.code < 0x80 && c.code >= 'a' && c.code <= 'z') {
            word += text[i];
        } else {
            close();
        }
        i += c.bytes;
    }
    close();
    return words;
}

/// "MOhm", "MΩ"; in capitals throughout ("MOHM") nothing tells, and it is taken for one as well.
bool has_megohm(std::string_view cell) {
    for (const std::string_view sign : {"MO", "Mo", "M\xCE\xA9", "M\xCF\x89", "M\xE2\x84\xA6"}) {
        const std::size_t at = cell.find(sign);
        const bool begins = at == 0 || (at != std::string_view::npos &&
                                        !std::isalpha(static_cast<unsigned char>(cell[at - 1])));
        if (begins) return true;
    }
    return false;
}

bool any_of(const std::vector<std::string>& words, std::initializer_list<std::string_view> wanted) {
    return std::any_of(words.begin(), words.end(), [&](const std::string& word) {
        return std::find(wanted.begin(), wanted.end(), word) != wanted.end();
    });
}

std::optional<double> ohm_per(const std::string& unit) {
    if (unit.empty() || unit == "ohm") return 1.0;
    if (unit == "kohm") return 1e3;
    if (unit == "mohm") return 1e-3;
    return std::nullopt;
}

std::optional<double> hz_per(const std::string& unit) {
    if (unit.empty() || unit == "hz") return 1.0;
    if (unit == "khz") return 1e3;
    if (unit == "mhz") return 1e6;
    return std::nullopt;
}

std::string_view role_words(ColumnRole role) {
    switch (role) {
        case ColumnRole::frequency:
            return "frequency";
        case ColumnRole::magnitude:
            return "magnitude";
        case ColumnRole::phase:
            return "phase";
        case ColumnRole::real:
            return "real part";
        case ColumnRole::imaginary:
            return "imaginary part";
        case ColumnRole::scatter:
            return "scatter";
        case ColumnRole::other:
            break;
    }
    return "other";
}

}  // namespace

HeaderColumn header_column(std::string_view cell) {
    const std::vector<std::string> words = words_of_cell(cell);
    HeaderColumn column;
    for (const std::string& word : words) {
        for (const Synonym& unit : units) {
            if (word == unit.word && column.unit.empty()) column.unit = unit.means;
        }
    }
    // A megohm is told from a milliohm by its letter alone.
    if (column.unit == "mohm" && has_megohm(cell)) column.unit = "megohm";
    const std::string& unit = column.unit;
    if (any_of(words, {"uncertainty", "variance", "deviation", "error", "residual", "model", "coherence"})) {
        return column;  // about the curve, not the curve
    }
    if (any_of(words, {"scatter"})) {
        column.role = ColumnRole::scatter;
    } else if (any_of(words, {"freq", "frequency", "frequencies"}) || unit == "hz" || unit == "khz" ||
               unit == "mhz" || (words.size() == 1 && words[0] == "f")) {
        column.role = ColumnRole::frequency;
    } else if (any_of(words, {"phase", "phi", "angle", "arg", "argument"}) || unit == "deg" ||
               unit == "rad") {
        column.role = ColumnRole::phase;
    } else if (any_of(words, {"imag", "imaginary", "im", "reactance"}) ||
               (!words.empty() && (words[0] == "x" || words[0] == "xs"))) {
        column.role = ColumnRole::imaginary;
    } else if (any_of(words, {"real", "re", "resistance"}) ||
               (!words.empty() && (words[0] == "r" || words[0] == "rs"))) {
        column.role = ColumnRole::real;
    } else if (any_of(words, {"magnitude", "mag", "impedance", "modulus", "abs", "z"}) || unit == "ohm" ||
               unit == "kohm" || unit == "mohm" || unit == "megohm") {
        column.role = ColumnRole::magnitude;
    }
    return column;
}

bool looks_like_header(const std::vector<std::string_view>& cells) {
    bool frequency = false;
    bool value = false;
    for (const std::string_view cell : cells) {
        const ColumnRole role = header_column(cell).role;
        frequency = frequency || role == ColumnRole::frequency;
        value = value || role == ColumnRole::magnitude || role == ColumnRole::real;
    }
    return frequency && value;
}

capture::Result<TableColumns> table_columns(const std::string& name, int line,
                                            const std::vector<std::string_view>& cells) {
    std::array<std::optional<std::size_t>, 7> at{};
    std::vector<HeaderColumn> columns;
    for (std::size_t i = 0; i < cells.size(); ++i) {
        columns.push_back(header_column(cells[i]));
        const ColumnRole role = columns.back().role;
        auto& place = at[static_cast<std::size_t>(role)];
        if (place && role != ColumnRole::other) {
            return wrong_line(name, line,
                              "two columns of " + std::string(role_words(role)) + ": \"" +
                                  visible_text(trimmed(cells[*place]), 40) + "\" and \"" +
                                  visible_text(trimmed(cells[i]), 40) + "\"",
                              "export one impedance curve a file");
        }
        place = i;
    }
    const auto place_of = [&](ColumnRole role) { return at[static_cast<std::size_t>(role)]; };
    const auto missing = [&](ColumnRole role, const char* mend) {
        return wrong_line(name, line, "the header names no column of " + std::string(role_words(role)), mend);
    };
    TableColumns table;
    table.count = cells.size();
    const auto frequency = place_of(ColumnRole::frequency);
    if (!frequency) return missing(ColumnRole::frequency, header_mend);
    table.frequency = *frequency;
    const bool parts = place_of(ColumnRole::real) && place_of(ColumnRole::imaginary);
    table.polar = !parts;
    if (!parts && !place_of(ColumnRole::magnitude)) {
        const bool half = place_of(ColumnRole::real).has_value();
        return missing(half ? ColumnRole::imaginary : ColumnRole::magnitude, header_mend);
    }
    if (!parts && !place_of(ColumnRole::phase)) {
        return missing(ColumnRole::phase, "export it too; magnitude alone does not make a complex impedance");
    }
    table.first = *place_of(parts ? ColumnRole::real : ColumnRole::magnitude);
    table.second = *place_of(parts ? ColumnRole::imaginary : ColumnRole::phase);
    table.scatter = place_of(ColumnRole::scatter);
    const auto unit_fault = [&](std::size_t column, const char* mend) {
        return wrong_line(
            name, line,
            "column \"" + visible_text(trimmed(cells[column]), 40) + "\" is in a unit not read here", mend);
    };
    const auto hz = hz_per(columns[table.frequency].unit);
    if (!hz) return unit_fault(table.frequency, "export the frequency in Hz or kHz");
    table.hz_per_unit = *hz;
    const auto first = ohm_per(columns[table.first].unit);
    if (!first) return unit_fault(table.first, "export the impedance in ohm");
    table.first_ohm_per_unit = *first;
    if (table.scatter) {
        const auto scatter = ohm_per(columns[*table.scatter].unit);
        if (!scatter) return unit_fault(*table.scatter, "export it in ohm");
        table.scatter_ohm_per_unit = *scatter;
    }
    const std::string& second_unit = columns[table.second].unit;
    if (parts) {
        const auto second = ohm_per(second_unit);
        if (!second) return unit_fault(table.second, "export the impedance in ohm");
        table.second_ohm_per_unit = *second;
    } else if (!second_unit.empty() && second_unit != "deg" && second_unit != "rad") {
        return unit_fault(table.second, "export the phase in degrees or radians");
    }
    table.phase_unit = parts ? "" : second_unit;
    return table;
}

}  // namespace assay::cli
