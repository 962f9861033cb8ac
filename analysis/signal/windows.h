// Window functions, symmetric about the centre of the record.
#pragma once

#include <cstddef>
#include <vector>

namespace assay::analysis {

/// 0.5 - 0.5 cos(2 pi (n + 0.5) / N): no sample is lost at the ends.
std::vector<double> hann_window(std::size_t count);

}  // namespace assay::analysis
