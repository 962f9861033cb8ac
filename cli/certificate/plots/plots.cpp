#include "cli/certificate/plots/plots.h"

#include <utility>

#include "cli/files/plain_text.h"
#include "cli/report/number_words.h"

namespace assay::cli {

std::vector<NamedPlot> plots_of(const Session& session, const TestRecord& record) {
    std::vector<NamedPlot> plots;
    for (const auto& make : {frequency_plot, power_bandwidth_plot, level_plot, harmonics_plot,
                             harmonics_sweep_plot, impedance_plot, residual_plot, endurance_plot}) {
        auto plot = make(session, record);
        if (plot) plots.push_back({plain_name(record.id) + '-' + plot->kind + ".svg", *std::move(plot)});
    }
    return plots;
}

capture::Result<std::string> draw_plot(const Session& session, const NamedPlot& plot) {
    return draw_sheet(plot.plot.sheet, plot.file, session.simulated);
}

std::vector<ClaimedLimit> claimed_limits(const JudgedClaim& claim, const std::string& unit) {
    const auto& [least, most] = claim.limit;
    if (least && most) {
        const std::string both = stated_text(*least, {}) + " to " + stated_text(*most, unit);
        return {{*least, "claimed " + both}, {*most, {}}};
    }
    std::vector<ClaimedLimit> limits;
    for (const auto& limit : {least, most}) {
        if (limit) limits.push_back({*limit, "claimed " + stated_text(*limit, unit)});
    }
    return limits;
}

}  // namespace assay::cli
