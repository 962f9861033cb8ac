#include "cli/commands/live/trust_remark.h"

#include <string_view>

namespace assay::cli {

namespace {

constexpr const char* before_text = ": ";
constexpr const char* before_mend = " | ";

}  // namespace

std::string flag_of(const TrustRemark& remark) {
    return remark.code + before_text + remark.text + before_mend + remark.mend;
}

std::optional<TrustRemark> remark_of(const std::string& flag) {
    for (const std::string code : {scale_moved, rate_in_doubt}) {
        const std::string start = code + before_text;
        const std::size_t mend = flag.find(before_mend);
        if (!flag.starts_with(start) || mend == std::string::npos) continue;
        return TrustRemark{code, flag.substr(start.size(), mend - start.size()),
                           flag.substr(mend + std::string_view(before_mend).size()), false};
    }
    return std::nullopt;
}

}  // namespace assay::cli
