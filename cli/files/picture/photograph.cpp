#include "cli/files/picture/photograph.h"

#include <utility>

#include "cli/files/plain_text.h"
#include "cli/files/whole_file.h"

namespace assay::cli {

using capture::fail;
using capture::FaultKind;

std::string photograph_type(std::string_view bytes) {
    // JPEG: ITU-T T.81, start of image and the next marker; PNG: ISO/IEC 15948, 5.2.
    if (bytes.starts_with("\xFF\xD8\xFF")) return "image/jpeg";
    if (bytes.starts_with("\x89PNG\r\n\x1A\n")) return "image/png";
    return {};
}

capture::Result<std::string> read_photograph(const std::filesystem::path& path) {
    const std::string shown = visible_path(path);
    auto bytes = whole_file(path, most_photograph_bytes);
    if (!bytes) {
        switch (bytes.error()) {
            case ReadTrouble::missing:
                return fail(FaultKind::bad_input_file, shown + ": there is no such file",
                            "give its name as seen from the job file's folder");
            case ReadTrouble::too_large:
                return fail(FaultKind::bad_input_file, shown + ": is larger than 8 MiB",
                            "scale it down: 1600 pixels across show enough");
            case ReadTrouble::unreadable:
                break;
        }
        return fail(FaultKind::bad_input_file, shown + ": cannot be read", "check its permissions");
    }
    if (photograph_type(*bytes).empty()) {
        return fail(FaultKind::bad_input_file, shown + ": is no JPEG and no PNG picture",
                    "save it as one of these");
    }
    return std::move(*bytes);
}

std::string data_address(std::string_view bytes) {
    constexpr std::string_view letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string text = "data:" + photograph_type(bytes) + ";base64,";
    const auto byte = [&](std::size_t i) {
        return i < bytes.size() ? static_cast<unsigned>(static_cast<unsigned char>(bytes[i])) : 0U;
    };
    for (std::size_t i = 0; i < bytes.size(); i += 3) {
        const unsigned three = byte(i) << 16U | byte(i + 1) << 8U | byte(i + 2);
        for (std::size_t j = 0; j < 4; ++j) {
            const unsigned shift = 18U - 6U * static_cast<unsigned>(j);
            text += i + j > bytes.size() ? '=' : letters[three >> shift & 63U];
        }
    }
    return text;
}

}  // namespace assay::cli
