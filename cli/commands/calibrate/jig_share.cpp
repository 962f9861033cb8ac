#include "cli/commands/calibrate/jig_share.h"

#include <fmt/format.h>

#include <cmath>

namespace assay::cli {

using capture::FaultKind;
using capture::Result;

Result<void> wait_for(CalibrationBench& bench, const char* key, const std::string& what) {
    const auto yes = bench.questions().yes({key, what + " Done?", ""});
    if (!yes) return tl::unexpected<capture::Fault>(yes.error());
    if (!*yes) return capture::fail(FaultKind::stopped, "stopped by hand: the bench file is as it was");
    return {};
}

Result<JigShare> share_in_jig(CalibrationBench& bench, const char* key, const std::string& what) {
    const capture::ImpedanceJig& jig = *bench.bench().jig;
    const std::vector<std::size_t> sides{jig.generator_side, jig.driver_side};
    const auto fault = [](const auto& result) { return tl::unexpected<capture::Fault>(result.error()); };
    if (const auto ready =
            wait_for(bench, "on-one-node", "Put both inputs of the jig on the generator's end of it.");
        !ready)
        return fault(ready);
    if (const auto sounding = bench.sound({0}); !sounding) return fault(sounding);
    const auto together = bench.read(sides);
    if (!together) return fault(together);
    if (const auto ready = wait_for(bench, key, what); !ready) return fault(ready);
    const auto reading = bench.read(sides);
    if (!reading) return fault(reading);
    bench.quiet();
    JigShare result;
    result.share = reading->ratio[1] / together->ratio[1];
    result.scatter = std::hypot(reading->ratio_scatter[1], together->ratio_scatter[1]);
    result.frequency_hz = reading->frequency_hz;
    const double size = std::abs(result.share);
    if (result.share.real() <= 0.0 || size > 0.995 || size < 0.001) {
        return capture::fail(
            FaultKind::untrusted_capture,
            fmt::format(
                "the jig's second input sees {:.3g} of the first: what is in the jig is open or shorted, "
                "or the inputs are swapped",
                size),
            "look at the clips; the driver-side input sits between the two parts of the jig");
    }
    return result;
}

}  // namespace assay::cli
