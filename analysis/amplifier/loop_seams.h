// A file played in a loop begins again at a steady distance: which dips of a level are its seams, and which
// are something else. The player may leave a gap there, always about the same; its clock and the recorder's
// differ by up to 600 ppm.
#pragma once

#include <span>
#include <vector>

namespace assay::analysis {

struct LoopSeams {
    std::vector<double> seams_s{};
    std::vector<double> others_s{};
    double gap_s =
        0.0;  // mean distance of the seams less the file's length; with the clocks' difference in it
};

/// `dips_s` rise and count from the signal's start; `loop_s` is the file's length, 0 where nothing loops.
LoopSeams part_dips(std::span<const double> dips_s, double loop_s);

}  // namespace assay::analysis
