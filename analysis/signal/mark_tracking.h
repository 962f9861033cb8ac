// Follows the marks of a tone through a recording, from the head to the end.
#pragma once

#include "analysis/signal/alignment.h"
#include "analysis/signal/band_search.h"

namespace assay::analysis {

Placement track_marks(const BandSignal& band, const TonePlan& plan, const Match& head);

}  // namespace assay::analysis
