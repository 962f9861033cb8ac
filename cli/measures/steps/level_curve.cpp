#include "cli/measures/steps/level_curve.h"

#include <algorithm>

#include "cli/measures/recording/scale.h"

namespace assay::cli {

analysis::Curve level_curve(const capture::Load& load, const TrustedSteps& steps) {
    analysis::Curve curve{
        {{"drive_dbfs"}, {"voltage_v"}, {"power_w"}, {"thd_percent"}, {"thd_plus_noise_percent"}}};
    for (const analysis::StepReading& reading : steps.readings) {
        curve.columns[0].values.push_back(reading.level_dbfs);
        curve.columns[1].values.push_back(reading.total_v);
        curve.columns[2].values.push_back(reading.total_v * reading.total_v *
                                          conductance_at(load, reading.frequency_hz));
        // Where harmonics drown in noise, the noise stands in their place: an upper bound, not a zero.
        curve.columns[3].values.push_back(100.0 * std::max(reading.thd, reading.thd_noise));
        curve.columns[4].values.push_back(100.0 * reading.thd_plus_noise);
    }
    if (load.bare_input) curve.columns.erase(curve.columns.begin() + 2);
    return curve;
}

}  // namespace assay::cli
