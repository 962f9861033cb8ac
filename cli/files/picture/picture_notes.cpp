#include "cli/files/picture/picture_notes.h"

#include <algorithm>
#include <array>

#include "cli/files/picture/exif_orientation.h"
#include "cli/files/picture/photograph.h"

namespace assay::cli {
namespace {

using capture::fail;
using capture::FaultKind;
using Cleaned = capture::Result<std::string>;
using namespace std::string_view_literals;

tl::unexpected<capture::Fault> damaged() {
    return fail(FaultKind::bad_input_file, "is a damaged picture: its parts do not add up",
                "open it in a picture program and save it again");
}

constexpr std::string_view exif_name = "Exif\0\0"sv;

// Codes of ITU-T T.81, table B.1.
constexpr unsigned char start_of_image = 0xD8;
constexpr unsigned char end_of_image = 0xD9;
constexpr unsigned char start_of_scan = 0xDA;
constexpr unsigned char comment = 0xFE;
constexpr unsigned char jfif = 0xE0;  // the first of the application segments

bool stands_alone(unsigned char code) {
    return code == 0x01 || (code >= 0xD0 && code <= 0xD7);
}

/// Of what applications add, only what the colours need.
bool part_of_picture(unsigned char code, std::string_view content) {
    if (code == comment) return false;
    if (code < 0xE0 || code > 0xEF) return true;
    return (code == jfif && content.starts_with("JFIF\0"sv)) ||
           (code == 0xE2 && content.starts_with("ICC_PROFILE\0"sv)) ||
           (code == 0xEE && content.starts_with("Adobe"sv));
}

/// Where coded data end: at the next marker that is no restart and no stuffed byte.
std::size_t end_of_scan(std::string_view bytes, std::size_t at) {
    for (; at + 1 < bytes.size(); ++at) {
        if (bytes[at] != '\xFF') continue;
        const auto next = static_cast<unsigned char>(bytes[at + 1]);
        if (next != 0x00 && next != 0xFF && !stands_alone(next)) return at;
    }
    return bytes.size();
}

/// JFIF's segment without the small copy of the picture that may stand behind its fourteen bytes (ITU-T
/// T.871, 10.1: the last two are the copy's width and height). It may show what was cut away since.
std::string without_small_copy(std::string_view content) {
    constexpr std::size_t whole = 14;
    constexpr std::size_t sizes = 2;
    if (content.size() <= whole) return std::string(content);
    return std::string(content.substr(0, whole - sizes)) + std::string(sizes, '\0');
}

std::string segment(unsigned char code, std::string_view content) {
    return std::string("\xFF") + static_cast<char>(code) +
           big_endian_bytes(static_cast<std::uint32_t>(content.size() + 2), 2) + std::string(content);
}

Cleaned clean_jpeg(std::string_view bytes) {
    std::string kept(bytes.substr(0, 2));  // start of image
    std::size_t at = 2;
    while (at < bytes.size()) {
        if (bytes[at] != '\xFF') return damaged();
        while (at < bytes.size() && bytes[at] == '\xFF') ++at;  // B.1.1.2: fill bytes may come before
        if (at == bytes.size()) break;
        const auto code = static_cast<unsigned char>(bytes[at++]);
        if (code == end_of_image) return kept + "\xFF\xD9";
        if (code == 0x00 || code == start_of_image) return damaged();
        if (stands_alone(code)) {
            kept += '\xFF';
            kept += static_cast<char>(code);
            continue;
        }
        if (bytes.size() - at < 2) return damaged();
        const std::size_t length = big_endian(bytes, at, 2);
        if (length < 2 || length > bytes.size() - at) return damaged();
        const std::string_view content = bytes.substr(at + 2, length - 2);
        at += length;
        if (part_of_picture(code, content)) {
            kept += segment(code, code == jfif ? without_small_copy(content) : std::string(content));
        } else if (code == 0xE1 && content.starts_with(exif_name)) {
            const unsigned orientation = orientation_of(content.substr(exif_name.size()));
            if (orientation != 1)
                kept += segment(code, std::string(exif_name) + orientation_block(orientation));
        }
        if (code != start_of_scan) continue;
        const std::size_t end = end_of_scan(bytes, at);
        kept += bytes.substr(at, end - at);
        at = end;
    }
    return damaged();  // it never ended
}

/// ISO/IEC 15948, annex D.
std::uint32_t checksum(std::string_view bytes) {
    std::uint32_t sum = 0xFFFFFFFFU;
    for (const char byte : bytes) {
        sum ^= static_cast<unsigned char>(byte);
        for (int bit = 0; bit < 8; ++bit) sum = (sum & 1U) != 0 ? 0xEDB88320U ^ sum >> 1U : sum >> 1U;
    }
    return sum ^ 0xFFFFFFFFU;
}

Cleaned clean_png(std::string_view bytes) {
    constexpr std::size_t signature = 8;
    constexpr std::size_t frame = 12;  // length, type, checksum
    constexpr std::array<std::string_view, 12> of_picture{"IHDR", "PLTE", "IDAT", "IEND", "tRNS", "gAMA",
                                                          "cHRM", "sRGB", "iCCP", "sBIT", "bKGD", "pHYs"};
    std::string kept(bytes.substr(0, signature));
    std::size_t at = signature;
    while (bytes.size() - at >= frame) {
        const std::size_t length = big_endian(bytes, at, 4);
        if (length > bytes.size() - at - frame) return damaged();
        const std::string_view type = bytes.substr(at + 4, 4);
        if (std::find(of_picture.begin(), of_picture.end(), type) != of_picture.end()) {
            kept += bytes.substr(at, length + frame);
            if (type == "IEND") return kept;
        } else if (type == "eXIf") {
            const unsigned orientation = orientation_of(bytes.substr(at + 8, length));
            const std::string chunk = "eXIf" + orientation_block(orientation);
            if (orientation != 1)
                kept += big_endian_bytes(static_cast<std::uint32_t>(chunk.size() - 4), 4) + chunk +
                        big_endian_bytes(checksum(chunk), 4);
        }
        at += length + frame;
    }
    return damaged();
}

}  // namespace

Cleaned without_notes(std::string_view picture) {
    const std::string type = photograph_type(picture);
    if (type == "image/jpeg") return clean_jpeg(picture);
    if (type == "image/png") return clean_png(picture);
    return fail(FaultKind::bad_input_file, "is no JPEG and no PNG picture", "save it as one of these");
}

}  // namespace assay::cli
