#include "cli/report/power_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"
#include "cli/report/rating_report.h"

namespace assay::cli {
namespace {

using analysis::Quantity;

constexpr std::size_t most_limits = 2;

/// On what the limits of all rows are; empty where rows differ.
std::string shared_limit_on(const PowerTable& table) {
    std::string shared;
    for (const PowerRow& row : table.rows) {
        if (row.by_meter) continue;
        if (!shared.empty() && shared != row.limit_on) return {};
        shared = row.limit_on;
    }
    return shared;
}

/// Cells side by side, each wrapped in its own column.
std::string cells(const std::vector<std::pair<std::string, std::size_t>>& texts) {
    std::vector<std::vector<std::string>> wrapped;
    std::size_t lines = 0;
    for (const auto& [text, columns] : texts) {
        wrapped.push_back(wrap(text, columns - 1));
        lines = std::max(lines, wrapped.back().size());
    }
    std::string out;
    for (std::size_t i = 0; i < lines; ++i) {
        std::string line = "  ";
        for (std::size_t k = 0; k < texts.size(); ++k)
            line += padded(i < wrapped[k].size() ? wrapped[k][i] : "", texts[k].second);
        line.resize(line.find_last_not_of(' ') + 1);
        out += line + '\n';
    }
    return out;
}

std::string block(const std::string& label, const std::string& text) {
    return labelled_lines(label, label.size(), text, page_columns);
}

/// "46.1 ± 1.4": the unit stands in the head of the column.
std::string watts_text(const std::optional<Quantity>& quantity, bool by_meter) {
    if (!quantity) return "no number";
    const RoundedValue text = rounded(*quantity);
    if (text.unit != "W") return value_text(*quantity);
    return text.value + (text.uncertainty.empty() ? "" : " ± " + text.uncertainty) + (by_meter ? " *" : "");
}

constexpr std::size_t test_columns = 19;
constexpr std::size_t driven_columns = 13;
constexpr std::size_t load_columns = 16;
constexpr std::size_t supply_columns = 17;
constexpr std::size_t watts_columns = 16;

std::string row_text(const PowerRow& row, const std::vector<std::string>& limits) {
    const auto line = [&](const std::string& test, const std::string& driven, const std::string& load,
                          const std::string& supply, const auto& watts_of) {
        std::vector<std::pair<std::string, std::size_t>> texts{
            {test, test_columns}, {driven, driven_columns}, {load, load_columns}, {supply, supply_columns}};
        for (std::size_t k = 0; k < limits.size(); ++k) {
            const PowerAtLimit* power = row.at(row.by_meter ? std::string{} : limits[k]);
            const bool here = !row.by_meter || k == 0;
            texts.emplace_back(here ? watts_of(power) : std::string{}, watts_columns);
        }
        return cells(texts);
    };
    std::string out;
    for (std::size_t i = 0; i < row.loads.size(); ++i) {
        const bool first = i == 0;
        out += line(first ? visible_text(row.test, 80) : "", first ? driven_words(row) : "",
                    load_words(row, i), first ? supply_words(row) : "", [&](const PowerAtLimit* power) {
                        return power == nullptr ? std::string("no number")
                                                : watts_text(power->loads[i], row.by_meter);
                    });
    }
    if (row.loads.size() > 1) {
        out += line("", "", "together", "", [&](const PowerAtLimit* power) {
            return power == nullptr ? std::string{} : watts_text(power->total, row.by_meter);
        });
    }
    return out;
}

std::string tests_words(const PowerLine& line) {
    std::string text;
    for (const std::string& test : line.tests) text += (text.empty() ? "" : ", ") + visible_text(test, 60);
    return text;
}

std::string ohms_text(double ohms) {
    return stated_text(to_digits(ohms, 4), "ohm");
}

std::string channels_sentence(const PowerLine& line) {
    const Quantity* db = line.figures.find("drop_db");
    const Quantity* percent = line.figures.find("drop_percent");
    if (db == nullptr || percent == nullptr) return {};
    return "From one channel driven to all together " + visible_text(line.load, 60) + " loses " +
           value_text(*db) + " (" + value_text(*percent) + ")";
}

std::string bridged_sentence(const PowerLine& line) {
    const Quantity* channel = line.figures.find("over_channel");
    const Quantity* total = line.figures.find("over_stereo_total");
    if (channel == nullptr || line.from.size() < 2) return {};
    std::string text = "Bridged into " + ohms_text(line.from[1]) + " the unit gives " + value_text(*channel) +
                       " times what a channel gives into " + ohms_text(line.from[0]);
    if (total != nullptr) text += ", " + value_text(*total) + " times what its channels give together";
    text +=
        fmt::format("; a stiff supply without losses would give {:.3g} times a channel", line.stiff_ratio);
    // Seen on benches, for the same ohms.
    if (line.stiff_ratio > 3.5) text += ", real units 2.4 to 3.8 (common practice, no source)";
    return text;
}

std::string ohms_sentence(const PowerLine& line) {
    const Quantity* ratio = line.figures.find("power_ratio");
    const Quantity* part = line.figures.find("of_doubling_percent");
    if (ratio == nullptr || part == nullptr || line.from.size() < 2) return {};
    return "From " + ohms_text(line.from[0]) + " to " + ohms_text(line.from[1]) + " the power goes up " +
           value_text(*ratio) + " times, " + value_text(*part) +
           fmt::format(" of the {:.3g} times that a stiff supply without losses would give",
                       line.stiff_ratio);
}

std::string supply_line_sentence(const PowerLine& line) {
    const Quantity* exponent = line.figures.find("exponent");
    if (exponent == nullptr || line.from.size() < 2) return {};
    return fmt::format("Between {} and {} of supply the power goes with the volts to the power of {}",
                       stated_text(line.from.back(), "V"), stated_text(line.from.front(), "V"),
                       value_text(*exponent)) +
           " (2: it follows its supply; 0: it holds its own rails)";
}

std::string projection_sentence(const PowerTable& table, const PowerLine& line) {
    if (line.from.size() < 2) return {};
    const std::string to = stated_text(line.from[1], "V");
    if (const Quantity* estimate = line.figures.find("estimated_w")) {
        const PowerRow* row = table.row(line.tests.front());
        return "ESTIMATE, not measured: at a supply of " + to + " about " + value_text(*estimate) +
               (row != nullptr && row->loads.size() > 1 ? " from all loads together" : "") +
               ", by the square of the volts from " + stated_text(line.from[0], "V") +
               "; no unit with regulated rails does that";
    }
    if (line.figures.absent.empty()) return {};
    const auto& why = line.figures.absent.front().second;
    return "No estimate for a supply of " + to + ": " + why.text + "; " + why.advice;
}

}  // namespace

bool worth_showing(const PowerTable& table) {
    if (table.rows.size() > 1) return true;
    return std::any_of(table.rows.begin(), table.rows.end(), [](const PowerRow& row) {
        return !supply_sentence(row).empty() || !row.figures.warnings.empty();
    });
}

std::vector<std::string> shown_limits(const PowerTable& table) {
    std::vector<std::string> limits = limits_of(table);
    // The second column is for 10 %, where it is among them.
    const auto ten = std::find(limits.begin(), limits.end(), "10");
    if (limits.size() > most_limits && ten > limits.begin() + 1) std::swap(limits[1], *ten);
    if (limits.size() > most_limits) limits.resize(most_limits);
    if (limits.empty() && !table.rows.empty()) limits.emplace_back();
    return limits;
}

bool told_in_table(const PowerTable& table, const std::string& test, const std::string& quantity) {
    const PowerRow* row = table.row(test);
    if (row == nullptr || !worth_showing(table)) return false;
    if (row->by_meter) return quantity == "power_w";
    const std::vector<std::string> limits = shown_limits(table);
    return std::any_of(limits.begin(), limits.end(), [&](const std::string& limit) {
        const std::string name = "power_at_" + limit + "_percent_w";
        return quantity == name || quantity == "total_" + name;
    });
}

std::string driven_words(const PowerRow& row) {
    switch (row.arrangement) {
        case Arrangement::one_channel:
            return "1 channel";
        case Arrangement::channels_together:
            return std::to_string(row.loads.size()) + " channels together";
        case Arrangement::bridged:
            return row.loads.size() == 1 ? "bridged" : std::to_string(row.loads.size()) + " bridges together";
        case Arrangement::bridged_and_stereo:
            return "bridged and stereo at once";
    }
    return {};
}

std::string load_words(const PowerRow& row, std::size_t load) {
    const PowerLoad& own = row.loads[load];
    std::string text = stated_text(own.resistance_ohm, "ohm");
    if (own.bridged) text += " bridged, " + ohms_text(0.5 * own.resistance_ohm) + " each half";
    return text;
}

std::string supply_words(const PowerRow& row) {
    const SupplyReadings& supply = row.supply;
    std::string text;
    if (supply.loaded_v) {
        text = stated_text(*supply.loaded_v, "V");
        if (supply.idle_v) text += " (" + stated_text(*supply.idle_v, "V") + " idle)";
    } else if (supply.idle_v) {
        text = stated_text(*supply.idle_v, "V") + " idle";
    }
    if (supply.loaded_a) text += (text.empty() ? "" : ", ") + stated_text(*supply.loaded_a, "A");
    return text.empty() ? "not stated" : text;
}

std::string limit_heading(const PowerTable& table, const std::string& limit) {
    if (limit.empty()) return "by meter";
    const std::string on = shared_limit_on(table);
    return fmt::format("at {:g} %", limit_percent(limit)) + (on.empty() ? "" : " " + distortion_name(on));
}

std::string supply_sentence(const PowerRow& row) {
    const Numbers& figures = row.figures;
    const bool currents = row.supply.idle_a || row.supply.loaded_a;
    if (!currents) return {};
    std::string text;
    const auto add = [&](const std::string& part) { text += (text.empty() ? "" : "; ") + part; };
    if (const Quantity* ohms = figures.find("supply_resistance_ohm"))
        add("supply and cable " + value_text(*ohms));
    if (const Quantity* percent = figures.find("efficiency_percent")) {
        add("efficiency " + value_text(*percent));
    }
    if (const Quantity* watts = figures.find("idle_draw_w")) add("draws " + value_text(*watts) + " idle");
    for (const auto& [name, why] : figures.absent) {
        const std::string what = name == "efficiency_percent" ? "no efficiency" : "no supply resistance";
        add(what + ": " + why.text + " (" + why.advice + ")");
    }
    if (!text.empty() && row.supply.doubt_v <= 0.0) add("the meter readings are taken as exact");
    return text;
}

std::string line_sentence(const PowerTable& table, const PowerLine& line) {
    std::string text;
    if (line.kind == LineKind::channels) text = channels_sentence(line);
    if (line.kind == LineKind::bridged) text = bridged_sentence(line);
    if (line.kind == LineKind::ohms) text = ohms_sentence(line);
    if (line.kind == LineKind::supply) text = supply_line_sentence(line);
    if (line.kind == LineKind::projection) text = projection_sentence(table, line);
    return text.empty() ? text : text + " (" + tests_words(line) + ")";
}

std::vector<std::string> line_sentences(const PowerTable& table) {
    std::vector<std::string> sentences;
    const std::string limit = headline_limit(table);
    for (const PowerLine& line : table.lines) {
        if (line.limit != limit) continue;
        std::string text = line_sentence(table, line);
        if (!text.empty()) sentences.push_back(std::move(text));
    }
    return sentences;
}

std::vector<std::string> table_notes(const PowerTable& table) {
    std::vector<std::string> notes;
    const bool mixed = shared_limit_on(table).empty();
    for (const PowerRow& row : table.rows) {
        if (row.by_meter) {
            notes.push_back("* " + visible_text(row.test, 60) +
                            ": read from a meter by hand, no recording; limit told by: " +
                            visible_text(row.limit_told_by, 80));
        } else if (mixed) {
            notes.push_back(visible_text(row.test, 60) + ": limits on " + distortion_name(row.limit_on));
        }
    }
    const std::string limit = headline_limit(table);
    const bool lines = std::any_of(table.lines.begin(), table.lines.end(),
                                   [&](const PowerLine& line) { return line.limit == limit; });
    if (lines) {
        const std::string on = shared_limit_on(table);
        notes.push_back(
            fmt::format("Comparisons are at {:g} %{}; what two tests share of their uncertainty "
                        "has cancelled.",
                        limit_percent(limit), on.empty() ? "" : " " + distortion_name(on)));
    }
    return notes;
}

std::string power_table_text(const Session& session) {
    const PowerTable table = power_table(session);
    if (!worth_showing(table)) return {};
    const std::vector<std::string> limits = shown_limits(table);
    std::string out = "\nPOWER TABLE  (watts into each load, continuous sine)\n";
    std::vector<std::pair<std::string, std::size_t>> heads{{"test", test_columns},
                                                           {"driven", driven_columns},
                                                           {"load", load_columns},
                                                           {"supply", supply_columns}};
    for (const std::string& limit : limits)
        heads.emplace_back("W " + limit_heading(table, limit), watts_columns);
    out += cells(heads);
    for (const PowerRow& row : table.rows) out += row_text(row, limits);
    for (const std::string& sentence : line_sentences(table)) out += block("  - ", sentence);
    for (const PowerRow& row : table.rows) {
        const std::string sentence = supply_sentence(row);
        if (!sentence.empty()) out += block("  - ", visible_text(row.test, 60) + ": " + sentence);
        for (const Warning& warning : row.figures.warnings)
            out += block("  ! ", visible_text(row.test, 60) + ": " + warning.text + "; " + warning.advice);
    }
    for (const std::string& note : table_notes(table)) out += block("    ", note);
    return out;
}

std::string rating_text(const Session& session) {
    const std::vector<Requirement> list = rating_requirements(session);
    if (list.empty()) return {};
    std::string out = "\nRATING BASIS  " + visible_text(session.rating->basis, 40) + '\n';
    out += block("  ", rating_words(session));
    constexpr std::size_t state_columns = 11;
    constexpr std::size_t text_columns = 34;
    constexpr std::size_t figure_columns = 53;
    for (const Requirement& wanted : list) {
        out += cells({{done_words(wanted.done), state_columns},
                      {wanted.text, text_columns},
                      {wanted.figure, figure_columns}});
        out += block(std::string(2 + state_columns, ' '), "[" + wanted.source + "]");
    }
    return out;
}

}  // namespace assay::cli
