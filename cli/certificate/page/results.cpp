// The tests: figures side by side for all loads, each power with its conditions, the plot, what is missing,
// and what limits each number.
#include <algorithm>

#include "cli/certificate/page/parts.h"
#include "cli/certificate/plots/plots.h"
#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/power_text.h"
#include "cli/report/quantity_words.h"
#include "cli/report/source_words.h"

namespace assay::cli {
namespace {

/// Names of all quantities of all loads but those in the table of power, in the order in which they first
/// come.
std::vector<std::string> names_of(const TestRecord& record, const PowerTable& power) {
    std::vector<std::string> names;
    for (const auto& [load, numbers] : record.result.loads) {
        for (const auto& [name, quantity] : numbers.quantities) {
            if (told_in_table(power, record.id, name)) continue;
            if (std::find(names.begin(), names.end(), name) == names.end()) names.push_back(name);
        }
    }
    return names;
}

/// The conditions of a power figure: one line where all loads share it but for their ohms, else one a load.
std::string basis_of(const Session& session, const TestRecord& record, const std::string& name) {
    const bool shared = !limit_words(name, "thd").empty() || name == "clip_onset_w";
    if (shared) return basis_text(session, record, {}, name);
    std::string text;
    for (const auto& [load, numbers] : record.result.loads) {
        if (numbers.find(name) == nullptr) continue;
        if (!text.empty()) text += "; ";
        if (record.result.loads.size() > 1) text += visible_text(load, 60) + ": ";
        text += basis_text(session, record, load, name);
    }
    return text;
}

PageData figures_part(const Session& session, const TestRecord& record, const PowerTable& power) {
    const TestResult& result = record.result;
    const std::string limit_on = text_condition(result, "limit_on", "thd");
    PageData columns{PageData::type::list};
    for (const auto& [name, numbers] : result.loads) {
        const capture::Load* load = find_load(session.bench, name);
        PageData column;
        column.set("name", visible_text(name, 60));
        const bool bare = load != nullptr && load->bare_input;
        column.set("resistance", bare              ? "input"
                                 : load != nullptr ? stated_text(load->resistance_ohm, "ohm")
                                                   : "load not stated");
        columns << column;
    }
    PageData rows{PageData::type::list};
    for (const std::string& name : names_of(record, power)) {
        bool in_watts = false;
        PageData cells{PageData::type::list};
        for (const auto& [load, numbers] : result.loads) {
            const analysis::Quantity* quantity = numbers.find(name);
            in_watts = in_watts || (quantity != nullptr && is_power(*quantity));
            cells << text_section(quantity != nullptr ? value_text(*quantity) : "no number");
        }
        PageData row =
            row_for(quantity_words(name, limit_on),
                    in_watts ? basis_of(session, record, name) : std::string{}, result.loads.size());
        row.set("cells", cells);
        rows << row;
    }
    PageData part;
    part.set("columns", columns);
    part.set("rows", rows);
    return part;
}

PageData totals_part(const Session& session, const TestRecord& record, const PowerTable& power) {
    const std::string limit_on = text_condition(record.result, "limit_on", "thd");
    PageData rows{PageData::type::list};
    for (const auto& [name, quantity] : record.result.whole.quantities) {
        if (is_repeated_total(record.result, name) || told_in_table(power, record.id, name)) continue;
        const std::string basis = is_power(quantity) ? basis_text(session, record, {}, name) : std::string{};
        PageData row = row_for(quantity_words(name, limit_on), basis, 1);
        PageData cells{PageData::type::list};
        cells << text_section(value_text(quantity));
        row.set("cells", cells);
        rows << row;
    }
    PageData part;
    part.set("rows", rows);
    part.set("heading", record.result.loads.empty() ? "Whole test" : "All loads together");
    return part;
}

void add_absent_and_warnings(const Numbers& numbers, const std::string& load, const std::string& limit_on,
                             PageData& absent, PageData& warnings) {
    const std::string where = load.empty() ? std::string{} : visible_text(load, 60) + ": ";
    // Numbers that are missing for the same reason share a note.
    std::vector<std::pair<std::string, const analysis::Absent*>> grouped;
    for (const auto& [name, why] : numbers.absent) {
        const std::string words = quantity_words(name, limit_on);
        const auto same = std::find_if(grouped.begin(), grouped.end(), [&, &reason = why](const auto& g) {
            return g.second->text == reason.text && g.second->advice == reason.advice;
        });
        if (same == grouped.end()) {
            grouped.emplace_back(words, &why);
        } else {
            same->first += "; " + words;
        }
    }
    for (const auto& [words, why] : grouped) {
        PageData entry;
        entry.set("words", where.empty() ? first_capital(words) : where + words);
        entry.set("text", without_full_stop(first_capital(why->text)));
        entry.set("advice", as_sentence(why->advice));
        absent << entry;
    }
    for (const Warning& warning : numbers.warnings) {
        const bool told = std::any_of(numbers.absent.begin(), numbers.absent.end(), [&](const auto& entry) {
            return warning.code == entry.second.code &&
                   warning.text == entry.first + ": " + entry.second.text;
        });
        if (told) continue;
        PageData entry;
        entry.set("text", where.empty() ? without_full_stop(first_capital(warning.text))
                                        : where + without_full_stop(warning.text));
        entry.set("advice", as_sentence(warning.advice));
        warnings << entry;
    }
}

std::string conditions_of(const TestResult& result) {
    std::string text;
    for (const auto& [name, value] : result.conditions) {
        if (for_programs_only(name)) continue;
        const ConditionWords shown = condition_words(name, value);
        text += (text.empty() ? "" : "; ") + shown.words + ": " + shown.value;
    }
    return first_capital(text);
}

}  // namespace

PageData row_for(const std::string& words, const std::string& basis, std::size_t columns) {
    PageData row;
    row.set("words", first_capital(words));
    row.set("basis_follows", PageData{!basis.empty()});
    if (!basis.empty()) {
        PageData line = text_section(basis);
        line.set("span", std::to_string(columns + 1));
        row.set("basis", line);
    }
    return row;
}

namespace {

/// The drawings of a test that stand with it, and what is told where one does not.
void add_plots(const Session& session, const TestRecord& record, const NamedPlots& plots,
               const std::string& first, PageData& entry) {
    PageData list{PageData::type::list};
    bool missing = false;
    bool is_first = false;
    for (const NamedPlot& own : plots_of(session, record)) {
        const auto drawn =
            std::find_if(plots.begin(), plots.end(), [&](const auto& p) { return p.first == own.file; });
        missing = missing || drawn == plots.end();
        if (drawn == plots.end()) continue;
        is_first = is_first || own.file == first;
        if (own.file == first) continue;
        PageData drawing{"svg", drawn->second};
        drawing.set("caption", own.plot.caption);
        list << drawing;
    }
    entry.set("plot", list);
    entry.set("plot_is_first", PageData{is_first});
    entry.set("plot_missing", PageData{missing});
}

}  // namespace

PageData tests_part(const Session& session, const NamedPlots& plots, const std::string& first) {
    PageData list{PageData::type::list};
    const PowerTable power = power_table(session);
    for (const TestRecord& record : session.tests) {
        const TestResult& result = record.result;
        const std::string limit_on = text_condition(result, "limit_on", "thd");
        PageData entry;
        entry.set("title", first_capital(measure_words(result.measure, session.unit.kind)));
        entry.set("id", visible_text(record.id, 80));
        entry.set("simulated", PageData{session.simulated});
        if (result.fault) {
            PageData fault = text_section(without_full_stop(result.fault->text));
            fault.set("mend", as_sentence(result.fault->mend));
            fault.set("at", result.fault->at_s ? text_section(stated_text(*result.fault->at_s, "s"))
                                               : PageData{false});
            entry.set("fault", fault);
        }
        add_plots(session, record, plots, first, entry);
        if (!names_of(record, power).empty()) entry.set("figures", figures_part(session, record, power));
        entry.set("watts_in_table", PageData{worth_showing(power) && power.row(record.id) != nullptr});
        const bool driver = result.measure == "impedance" || result.measure == "driver-parameters";
        entry.set("driver", PageData{false});
        const auto& totals = result.whole.quantities;
        const bool told_anew = std::any_of(totals.begin(), totals.end(), [&](const auto& total) {
            return !is_repeated_total(result, total.first) && !told_in_table(power, record.id, total.first);
        });
        if (told_anew) {
            if (driver) {
                entry.set("driver", driver_table(record));
            } else {
                entry.set("totals", totals_part(session, record, power));
            }
        }
        PageData absent{PageData::type::list};
        PageData warnings{PageData::type::list};
        for (const auto& [load, numbers] : result.loads) {
            add_absent_and_warnings(numbers, load, limit_on, absent, warnings);
        }
        add_absent_and_warnings(result.whole, {}, limit_on, absent, warnings);
        entry.set("absent", absent);
        entry.set("warnings", warnings);
        if (const std::string text = conditions_of(result); !text.empty()) {
            entry.set("conditions", text_section(text));
        }
        list << entry;
    }
    return list;
}

PageData limits_rows(const Session& session) {
    PageData rows{PageData::type::list};
    const auto add = [&](const TestRecord& record, const std::string& load, const Numbers& numbers) {
        const std::string limit_on = text_condition(record.result, "limit_on", "thd");
        // Numbers that are limited by the same cause to the same part share a row.
        std::vector<std::pair<std::string, std::string>> grouped;
        for (const auto& [name, quantity] : numbers.quantities) {
            if (is_repeated_total(record.result, name)) continue;
            const std::string why = what_limits(quantity, session.bench);
            const auto same =
                std::find_if(grouped.begin(), grouped.end(), [&](const auto& g) { return g.second == why; });
            if (same == grouped.end()) {
                grouped.emplace_back(quantity_words(name, limit_on), why);
            } else {
                same->first += "; " + quantity_words(name, limit_on);
            }
        }
        for (const auto& [words, why] : grouped) {
            PageData row;
            const std::string where = load.empty() ? std::string{} : ", " + visible_text(load, 60);
            row.set("words", visible_text(record.id, 80) + where + ": " + words);
            row.set("text", quoted_commands(first_capital(why)));
            rows << row;
        }
    };
    for (const TestRecord& record : session.tests) {
        for (const auto& [load, numbers] : record.result.loads) add(record, load, numbers);
        add(record, {}, record.result.whole);
    }
    return rows;
}

}  // namespace assay::cli
