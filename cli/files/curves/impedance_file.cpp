#include "cli/files/curves/impedance_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "cli/files/curves/impedance_rows.h"
#include "cli/files/plain_text.h"
#include "cli/files/utf8.h"
#include "cli/files/whole_file.h"

namespace assay::cli {

using capture::fail;
using capture::FaultKind;

namespace {

constexpr std::size_t most_bytes = 16U << 20U;
constexpr std::size_t fewest_points = 3;
constexpr double highest_hz = 1e9;
constexpr double highest_ohm = 1e9;

bool is_touchstone(const std::string& name) {
    return lower_case(name).ends_with(".s1p");
}

capture::Result<void> check_row(const std::string& name, const ImpedanceRow& row) {
    if (!(row.frequency_hz > 0.0) || row.frequency_hz > highest_hz) {
        return wrong_line(name, row.line, fmt::format("frequency {} Hz", row.frequency_hz),
                          "a curve has frequencies above 0 and up to 1e9 Hz; take the line out");
    }
    const double magnitude_ohm = std::abs(row.z_ohm);
    if (!(magnitude_ohm > 0.0) || magnitude_ohm > highest_ohm) {
        return wrong_line(name, row.line, fmt::format("impedance of {} ohm", magnitude_ohm),
                          "an impedance lies above 0 and up to 1e9 ohm; check columns and units");
    }
    return {};
}

capture::Result<void> check_order(const std::string& name, std::vector<ImpedanceRow>& rows) {
    if (rows.size() > 1 && rows.front().frequency_hz > rows.back().frequency_hz) {
        std::reverse(rows.begin(), rows.end());
    }
    for (std::size_t i = 1; i < rows.size(); ++i) {
        const ImpedanceRow& before = rows[i - 1];
        const ImpedanceRow& here = rows[i];
        if (before.frequency_hz < here.frequency_hz) continue;
        const bool doubled = before.frequency_hz == here.frequency_hz;
        const int line = std::max(before.line, here.line);
        return wrong_line(name, line,
                          doubled ? fmt::format("{} Hz stands in line {} already", here.frequency_hz,
                                                std::min(before.line, here.line))
                                  : fmt::format("{} Hz after {} Hz: out of order",
                                                (here.line > before.line ? here : before).frequency_hz,
                                                (here.line > before.line ? before : here).frequency_hz),
                          doubled ? "keep one of them" : "sort the lines by frequency");
    }
    return {};
}

}  // namespace

tl::unexpected<capture::Fault> wrong_line(const std::string& name, int line, const std::string& what,
                                          const std::string& mend) {
    return fail(FaultKind::bad_input_file, fmt::format("{}:{}: {}", visible_text(name, 200), line, what),
                mend);
}

std::optional<double> number_in(std::string_view text, bool decimal_comma) {
    std::string plain(text);
    if (decimal_comma) {
        if (text.find('.') != std::string_view::npos) return std::nullopt;  // 1,000.5 or 8.05: who knows
        std::replace(plain.begin(), plain.end(), ',', '.');
    }
    if (plain.size() > 1 && plain[0] == '+' && plain[1] != '-') plain.erase(0, 1);
    double value = 0.0;
    const auto [end, error] = std::from_chars(plain.data(), plain.data() + plain.size(), value);
    if (error != std::errc{} || end != plain.data() + plain.size() || !std::isfinite(value)) {
        return std::nullopt;
    }
    return value;
}

std::vector<std::string_view> lines_of(std::string_view text) {
    std::vector<std::string_view> lines;
    while (!text.empty()) {
        // Line ends of three kinds: \n, \r\n and, from old programs, \r alone.
        const std::size_t end = text.find_first_of("\r\n");
        lines.push_back(text.substr(0, end));
        if (end == std::string_view::npos) break;
        const bool pair = text[end] == '\r' && end + 1 < text.size() && text[end + 1] == '\n';
        text.remove_prefix(end + (pair ? 2 : 1));
    }
    return lines;
}

std::vector<std::string_view> words_of(std::string_view line) {
    std::vector<std::string_view> words;
    for (line = trimmed(line); !line.empty(); line = trimmed(line)) {
        const std::size_t end = std::min(line.find_first_of(" \t\f\v"), line.size());
        words.push_back(line.substr(0, end));
        line.remove_prefix(end);
    }
    return words;
}

capture::Result<analysis::ImpedanceCurve> parse_impedance(const std::string& name, std::string_view text) {
    if (text.starts_with("\xFF\xFE") || text.starts_with("\xFE\xFF")) {
        return wrong_line(name, 1, "is UTF-16 text", "save it as UTF-8 or plain text");
    }
    if (text.find('\0') != std::string_view::npos) {
        return wrong_line(name, 1, "is not a text file",
                          "export the curve as CSV, text or Touchstone (.s1p)");
    }
    if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
    const std::vector<std::string_view> lines = lines_of(text);
    auto rows = is_touchstone(name) ? read_touchstone(name, lines) : read_impedance_table(name, lines);
    if (!rows) return tl::unexpected(rows.error());
    for (const ImpedanceRow& row : *rows) {
        if (const auto fine = check_row(name, row); !fine) return tl::unexpected(fine.error());
    }
    if (rows->size() < fewest_points) {
        return wrong_line(
            name, rows->empty() ? 1 : rows->back().line,
            fmt::format("{} point{} in the whole file", rows->size(), rows->size() == 1 ? "" : "s"),
            "a curve needs at least three");
    }
    if (const auto fine = check_order(name, *rows); !fine) return tl::unexpected(fine.error());
    analysis::ImpedanceCurve curve;
    curve.points.reserve(rows->size());
    for (const ImpedanceRow& row : *rows) {
        curve.points.push_back({row.frequency_hz, row.z_ohm, row.scatter_ohm * row.scatter_ohm});
    }
    return curve;
}

capture::Result<analysis::ImpedanceCurve> read_impedance_file(const std::filesystem::path& path) {
    const auto text = whole_file(path, most_bytes);
    if (text) return parse_impedance(path.string(), *text);
    const std::string name = visible_path(path);
    switch (text.error()) {
        case ReadTrouble::missing:
            return fail(FaultKind::bad_input_file, name + ": there is no such file",
                        "name the file of an impedance curve: CSV, text or Touchstone (.s1p)");
        case ReadTrouble::too_large:
            return fail(FaultKind::bad_input_file,
                        name + ": is larger than 16 MB, too large for an impedance curve",
                        "export fewer points; a few hundred are plenty");
        case ReadTrouble::unreadable:
            break;
    }
    return fail(FaultKind::bad_input_file, name + ": cannot be read", "check its permissions");
}

}  // namespace assay::cli
