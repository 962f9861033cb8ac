#include "cli/certificate/plots.h"

#include "cli/certificate/frequency_plot.h"
#include "cli/certificate/impedance_plot.h"
#include "cli/certificate/level_plot.h"

namespace assay::cli {

bool has_plot(const Session& session, const TestRecord& record) {
    return has_frequency_plot(record) || has_level_curve(record) || has_impedance_plot(session, record);
}

capture::Result<std::string> plot_of(const Session& session, const TestRecord& record) {
    if (has_frequency_plot(record)) return frequency_plot(session, record);
    return has_level_curve(record) ? level_plot(session, record) : impedance_plot(session, record);
}

}  // namespace assay::cli
