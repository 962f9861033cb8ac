// From which magnitude on a sample is taken for one at the converter's end.
#pragma once

namespace assay::capture {

/// A sample's magnitude; just below 1, since drivers and file formats round the last step differently. Common
/// practice, no source.
inline constexpr double full_scale = 0.9999;

}  // namespace assay::capture
