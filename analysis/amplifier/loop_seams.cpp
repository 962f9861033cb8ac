#include "analysis/amplifier/loop_seams.h"

#include <algorithm>
#include <cmath>

namespace assay::analysis {

namespace {

constexpr double clocks = 600e-6;
constexpr double longest_gap_s = 2.0;
constexpr double slack_s = 0.3;  // of a dip's time, a quarter of a second, and of the start's
constexpr double same_gap_s = 0.6;

}  // namespace

LoopSeams part_dips(std::span<const double> dips_s, double loop_s) {
    LoopSeams parted;
    double last_s = 0.0;
    double turn_s = loop_s;  // as the last seams showed it
    double turns = 0.0;
    for (const double dip_s : dips_s) {
        const bool looped = loop_s > 0.0;
        // A seam may be missed where noise hides it: then two turns lie between.
        const double passed = looped ? std::max(1.0, std::round((dip_s - last_s) / turn_s)) : 0.0;
        const double early_s = passed * loop_s * (1.0 - clocks) - slack_s;
        const double late_s = passed * (loop_s * (1.0 + clocks) + longest_gap_s) + slack_s;
        bool seam = looped && dip_s - last_s >= early_s && dip_s - last_s <= late_s;
        if (seam && turns > 0.0) seam = std::abs(dip_s - last_s - passed * turn_s) <= same_gap_s * passed;
        if (!seam) {
            parted.others_s.push_back(dip_s);
            continue;
        }
        parted.seams_s.push_back(dip_s);
        turns += passed;
        last_s = dip_s;
        turn_s = dip_s / turns;
    }
    if (turns > 0.0) parted.gap_s = turn_s - loop_s;
    return parted;
}

}  // namespace assay::analysis
