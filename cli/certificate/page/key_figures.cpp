// The few figures of each test that a buyer looks at first.
#include <algorithm>
#include <map>

#include "cli/certificate/page/first_sheet.h"
#include "cli/certificate/page/text_room.h"
#include "cli/certificate/plots/plots.h"
#include "cli/certificate/plots/supply_plot.h"
#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/separation_pairs.h"

namespace assay::cli {
namespace {

/// Beginnings of the names of a measure's key figures, in their order.
const std::vector<std::string>& key_names(const std::string& measure) {
    static const std::map<std::string, std::vector<std::string>> names{
        {"clipping-power", {"power_at_", "voltage_at_"}},
        {"distortion", {"thd_percent", "thd_plus_noise_percent"}},
        {"meter-power", {"power_w"}},
        {"response", {"lower_limit_3db_hz", "upper_limit_3db_hz", "channel_balance_20hz_20khz_db"}},
        {"power-bandwidth", {"lower_limit_hz", "upper_limit_hz"}},
        {"noise", {"signal_to_noise_1w_a_weighted_db", "noise_a_weighted_v"}},
        {"separation", {"separation_1khz_db"}},
        {"intermodulation", {"modulation_distortion_percent", "difference_frequency_distortion"}},
        {"output-impedance", {"damping_factor_1khz"}},
        {"burst-power", {"burst_power_w", "headroom_db"}},
        {"endurance", {"run_minutes"}},
        {"impedance", {"minimum_ohm", "resonance_hz"}},
        {"driver-parameters", {"fs_hz", "qts", "vas_l", "re_ohm", "sensitivity_2v83_db"}},
    };
    static const std::vector<std::string> none;
    const auto found = names.find(measure);
    return found == names.end() ? none : found->second;
}

/// Of some measures one figure says it all; the later names stand in where the first is not there.
bool first_alone(const std::string& measure) {
    return measure == "clipping-power" || measure == "distortion" || measure == "noise";
}

std::vector<std::string> key_quantities(const std::string& measure, const Numbers& numbers) {
    std::vector<std::string> chosen;
    for (const std::string& start : key_names(measure)) {
        for (const auto& [name, quantity] : numbers.quantities) {
            if (!name.starts_with(start)) continue;
            chosen.push_back(name);
            break;
        }
        if (first_alone(measure) && !chosen.empty()) break;
    }
    return chosen;
}

bool claimed(const Session& session, const std::string& test, const std::string& load,
             const std::string& name) {
    return std::any_of(session.claims.begin(), session.claims.end(), [&](const JudgedClaim& claim) {
        return claim.measured && claim.test == test && claim.quantity == name &&
               (claim.load == load || claim.load.empty());
    });
}

}  // namespace

std::vector<Boxed> key_boxes(const Session& session, double column_mm) {
    // The value has a column of its own; narrow ones leave the rest to the words.
    constexpr double value_mm = 30.0;
    std::vector<Boxed> boxes;
    const auto add = [&](const TestRecord& record, const std::string& load, const Numbers& numbers) {
        const std::string limit_on = text_condition(record.result, "limit_on", "thd");
        for (const std::string& name : key_quantities(record.result.measure, numbers)) {
            // What a claim is about stands above already, with its verdict.
            if (claimed(session, record.id, load, name)) continue;
            const analysis::Quantity& quantity = *numbers.find(name);
            const std::string basis = is_power(quantity) ? basis_text(session, record, load, name)
                                                         : both_ways_text(session, record);
            PageData row = row_for(first_page_words(name, limit_on), basis, 1);
            const std::string where =
                short_text(record.id, 40) + (load.empty() ? "" : ", " + short_text(load, 40));
            row.set("where", where);
            PageData cells{PageData::type::list};
            cells << text_section(value_text(quantity));
            row.set("cells", cells);
            boxes.push_back(
                {row,
                 2.6 +
                     4.0 * text_lines(first_page_words(name, limit_on) + ' ' + where, column_mm - value_mm,
                                      8.4) +
                     3.4 * text_lines(basis.empty() ? basis : "at " + basis, column_mm - 2.0, 7.5),
                 name});
        }
    };
    // A driver's parameters say more to a buyer than the curves that they come from.
    for (const bool parameters : {true, false}) {
        for (const TestRecord& record : session.tests) {
            if ((record.result.measure == "driver-parameters") != parameters) continue;
            for (const auto& [load, numbers] : record.result.loads) add(record, load, numbers);
            add(record, {}, record.result.whole);
        }
    }
    return boxes;
}

std::string first_plot(const Session& session, const NamedPlots& plots) {
    for (const JudgedClaim& claim : session.claims) {
        const TestRecord* record = session.find(claim.test);
        if (record == nullptr) continue;
        for (const NamedPlot& own : plots_of(session, *record)) {
            for (const auto& [file, svg] : plots) {
                if (file == own.file) return file;
            }
        }
    }
    return plots.empty() ? std::string{} : plots.front().first;
}

std::string plot_caption(const Session& session, const std::string& file) {
    for (const TestRecord& record : session.tests) {
        for (const NamedPlot& own : plots_of(session, record)) {
            if (own.file == file) return own.plot.caption;
        }
    }
    return supply_plot_caption;
}

}  // namespace assay::cli
