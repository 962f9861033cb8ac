#include "cli/certificate/page/square_code.h"

#include <fmt/format.h>
#include <qrencode.h>

#include <memory>

namespace assay::cli {

std::optional<std::string> square_code(const std::string& text) {
    constexpr int quiet = 4;
    const std::unique_ptr<QRcode, decltype(&QRcode_free)> code(
        QRcode_encodeString(text.c_str(), 0, QR_ECLEVEL_M, QR_MODE_8, 1), &QRcode_free);
    if (!code) return std::nullopt;
    std::string path;
    for (int row = 0; row < code->width; ++row) {
        for (int column = 0; column < code->width; ++column) {
            const unsigned char module = code->data[row * code->width + column];
            if ((module & 1U) != 0) path += fmt::format("M{} {}h1v1h-1z", column + quiet, row + quiet);
        }
    }
    const int side = code->width + 2 * quiet;
    return fmt::format(
        "<svg class=\"code\" viewBox=\"0 0 {0} {0}\" role=\"img\" aria-label=\"number and fingerprint for a "
        "telephone\" shape-rendering=\"crispEdges\"><rect width=\"{0}\" height=\"{0}\" fill=\"#fff\"/><path "
        "d=\"{1}\" fill=\"#000\"/></svg>",
        side, path);
}

}  // namespace assay::cli
