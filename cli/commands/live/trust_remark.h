// What the wiring check has to say of a bench's trust: told before anything louder, and kept in the session
// among the flags of the test's first take, from where it is a warning of the test.
#pragma once

#include <optional>
#include <string>

namespace assay::cli {

struct TrustRemark {
    std::string code{};  // of the warning: "scale-moved", "rate-in-doubt"
    std::string text{};
    std::string mend{};
    bool stops = false;  // nothing louder unless somebody says so
};

inline constexpr const char* scale_moved = "scale-moved";
inline constexpr const char* rate_in_doubt = "rate-in-doubt";

std::string flag_of(const TrustRemark& remark);
/// Empty for the flags of a device.
std::optional<TrustRemark> remark_of(const std::string& flag);

}  // namespace assay::cli
