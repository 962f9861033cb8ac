// The table of power and the rating's basis on the page.
#include "cli/certificate/page/parts.h"
#include "cli/certificate/plots/supply_plot.h"
#include "cli/files/plain_text.h"
#include "cli/report/number_words.h"
#include "cli/report/power_text.h"
#include "cli/report/rating_report.h"

namespace assay::cli {
namespace {

/// The text with numbers kept beside their units.
std::string unbroken(std::string text) {
    for (const char* unit : {" V", " A", " Ω"}) {
        const std::string part = unit;
        for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 2))
            text.replace(at, 1, "\u00a0");
    }
    return text;
}

void add_watts(const PowerTable& table, const PowerRow& row, std::size_t load, bool together,
               PageData& entry) {
    PageData cells{PageData::type::list};
    const std::vector<std::string> limits = shown_limits(table);
    for (std::size_t k = 0; k < limits.size(); ++k) {
        const PowerAtLimit* power = row.at(row.by_meter ? std::string{} : limits[k]);
        std::string text = "no number";
        if (power != nullptr && (!row.by_meter || k == 0)) {
            const auto& watts = together ? power->total : power->loads[load];
            if (watts) text = value_text(*watts);
        }
        cells << text_section(text);
    }
    entry.set("cells", cells);
}

void add_rows(const PowerTable& table, const PowerRow& row, PageData& rows) {
    const bool several = row.loads.size() > 1;
    for (std::size_t i = 0; i < row.loads.size() + (several ? 1 : 0); ++i) {
        const bool together = i == row.loads.size();
        PageData entry;
        PageData first{PageData::type::object};
        first.set("test", visible_text(row.test, 60) + (row.by_meter ? " *" : ""));
        first.set("driven", driven_words(row));
        first.set("supply", unbroken(supply_words(row)));
        first.set("span", std::to_string(row.loads.size() + (several ? 1 : 0)));
        entry.set("first", i == 0 ? first : PageData{false});
        entry.set("load", together ? "together" : unbroken(load_words(row, i)));
        add_watts(table, row, i, together, entry);
        rows << entry;
    }
}

}  // namespace

PageData power_part(const Session& session, const NamedPlots& plots) {
    const PowerTable table = power_table(session);
    if (!worth_showing(table)) return PageData{false};
    PageData heads{PageData::type::list};
    for (const std::string& limit : shown_limits(table))
        heads << text_section(first_capital(limit_heading(table, limit)));
    PageData rows{PageData::type::list};
    PageData sentences{PageData::type::list};
    PageData warnings{PageData::type::list};
    for (const PowerRow& row : table.rows) add_rows(table, row, rows);
    for (const std::string& sentence : line_sentences(table))
        sentences << text_section(as_sentence(sentence));
    for (const PowerRow& row : table.rows) {
        const std::string test = visible_text(row.test, 60) + ": ";
        const std::string supply = supply_sentence(row);
        if (!supply.empty()) sentences << text_section(test + as_sentence(supply));
        for (const Warning& warning : row.figures.warnings) {
            PageData entry = text_section(test + without_full_stop(warning.text));
            entry.set("mend", as_sentence(warning.advice));
            warnings << entry;
        }
    }
    for (const std::string& note : table_notes(table)) sentences << text_section(as_sentence(note));
    PageData part;
    part.set("heads", heads);
    part.set("rows", rows);
    part.set("sentences", sentences);
    part.set("warnings", warnings);
    part.set("supply_plot", PageData{false});
    for (const auto& [file, svg] : plots) {
        if (file != supply_plot_file) continue;
        PageData drawing{"svg", svg};
        drawing.set("caption", supply_plot_caption);
        part.set("supply_plot", drawing);
    }
    return part;
}

PageData rating_part(const Session& session) {
    const std::vector<Requirement> list = rating_requirements(session);
    if (list.empty()) return PageData{false};
    PageData rows{PageData::type::list};
    for (const Requirement& wanted : list) {
        PageData row;
        row.set("words", first_capital(wanted.text));
        row.set("state", first_capital(done_words(wanted.done)));
        row.set("figure", first_capital(wanted.figure));
        row.set("source", wanted.source);
        rows << row;
    }
    PageData part = text_section(rating_words(session));
    part.set("basis", session.rating->basis);
    part.set("rows", rows);
    return part;
}

}  // namespace assay::cli
