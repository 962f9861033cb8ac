#include "cli/certificate/plots/gnuplot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cstdlib>
#include <sstream>

#include "cli/certificate/plots/plain_svg.h"
#include "cli/files/plain_text.h"
#include "cli/files/posix.h"

namespace assay::cli {
namespace {

using capture::fail;
using capture::FaultKind;

constexpr double longest_drawing_s = 60.0;
constexpr std::size_t longest_label = 90;

std::string mark_of(std::size_t index) {
    return fmt::format("zq{}qz", index);
}

/// Letters that run from right to left turn numbers behind them around, unless they stand for themselves:
/// between U+2068 and U+2069 (Unicode Standard Annex 9).
std::string isolated(const std::string& text) {
    for (std::size_t i = 0; i + 1 < text.size(); ++i) {
        const auto first = static_cast<unsigned char>(text[i]);
        const auto second = static_cast<unsigned char>(text[i + 1]);
        const bool two_bytes = first >= 0xD6 && first <= 0xDF;                        // U+0580 to U+07FF
        const bool three_bytes = (first == 0xE0 && second <= 0xA3) ||                 // U+0800 to U+08FF
                                 (first == 0xEF && second >= 0xAC && second < 0xBC);  // U+FB00 to U+FEFF
        const bool four_bytes = (first == 0xF0 && second == 0x90) || (first == 0xF0 && second == 0x9E);
        if (two_bytes || three_bytes || four_bytes) return "\u2068" + text + "\u2069";
    }
    return text;
}

/// Takes out every `<name ...>...</name>`.
void remove_elements(std::string& text, const std::string& name) {
    const std::string end = "</" + name + ">";
    for (std::size_t at = text.find("<" + name + ">"); at != std::string::npos;
         at = text.find("<" + name + ">", at)) {
        const std::size_t stop = text.find(end, at);
        if (stop == std::string::npos) return;
        text.erase(at, stop + end.size() - at);
    }
}

/// The drawing with the place of its axes as an attribute, for the readout: for each panel left, right,
/// bottom, top in pixels from the top left corner, then the ends of x and y, whether they are logarithmic,
/// and the ends of y2. Panels are parted by ';'.
std::string with_frame(std::string svg, const std::string& report, int height) {
    const std::size_t start = svg.find("<svg");
    if (start == std::string::npos) return svg;
    std::string frames;
    for (std::size_t at = report.find("frame "); at != std::string::npos;
         at = report.find("frame ", at + 6)) {
        std::istringstream numbers(report.substr(at + 6, report.find('\n', at) - at - 6));
        std::string frame;
        for (int i = 0; i < 12; ++i) {
            std::string number;
            if (!(numbers >> number)) return svg;
            const bool from_below = i == 2 || i == 3;
            if (from_below) number = fmt::format("{:.2f}", height - std::atof(number.c_str()));
            frame += (i == 0 ? "" : " ") + number;
        }
        frames += (frames.empty() ? "" : ";") + frame;
    }
    svg.insert(start + 4, " data-frame=\"" + escaped(frames) + '"');
    return svg;
}

}  // namespace

std::string escaped(const std::string& text) {
    std::string out;
    for (const char letter : text) {
        switch (letter) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            case '\'':
                out += "&#39;";
                break;
            default:
                out += letter;
        }
    }
    return out;
}

std::string PlotTexts::mark(const std::string& text) {
    const std::string shown = short_text(text, longest_label);
    const std::string mark = mark_of(texts_.size());
    texts_.push_back(shown);
    const std::size_t columns = columns_of(shown);
    return columns > mark.size() ? mark + std::string(columns - mark.size(), '_') : mark;
}

std::string PlotTexts::put_into(const std::string& svg) const {
    // One pass: a text that looks like a mark is never taken for one.
    std::string out;
    std::size_t done = 0;
    for (std::size_t at = svg.find("zq"); at != std::string::npos; at = svg.find("zq", at)) {
        std::size_t end = at + 2;
        std::size_t index = 0;
        while (end < svg.size() && end < at + 8 && svg[end] >= '0' && svg[end] <= '9') {
            index = 10 * index + static_cast<std::size_t>(svg[end++] - '0');
        }
        const bool is_mark = end > at + 2 && svg.compare(end, 2, "qz") == 0 && index < texts_.size();
        if (!is_mark) {
            at += 2;
            continue;
        }
        out.append(svg, done, at - done);
        out += escaped(isolated(texts_[index]));
        end += 2;
        while (end < svg.size() && svg[end] == '_') ++end;
        at = done = end;
    }
    return out.append(svg, done, std::string::npos);
}

capture::Result<std::string> draw(const std::string& script, const std::string& name, int width, int height) {
    std::string plain_name = "plot";
    for (const char letter : name) {
        if (std::isalnum(static_cast<unsigned char>(letter)) != 0) plain_name += letter;
    }
    const std::string head = fmt::format(
        "set terminal svg size {},{} dynamic noenhanced font 'sans-serif,14' background '#ffffff' name "
        "'{}'\n",
        width, height, plain_name);
    const auto run = run_program({"gnuplot", "--default-settings", "-"}, head + script, longest_drawing_s);
    if (!run && run.error().kind == FaultKind::bad_input_file) {
        return fail(FaultKind::bad_arguments, "the certificate has no plots: gnuplot is not installed",
                    "install the package gnuplot-nox, then run `assay certify` on the session");
    }
    if (!run) return tl::unexpected(run.error());
    if (run->exit_status != 0 || run->out.find("</svg>") == std::string::npos) {
        return fail(FaultKind::internal, "gnuplot could not draw a plot: " + visible_text(run->err, 200),
                    "please report this with the session's job and bench files");
    }
    return with_frame(plain_svg(run->out), run->err, height);
}

std::string frame_report(bool x_logarithmic, bool y_logarithmic) {
    return fmt::format(
        "print sprintf('frame %.9g %.9g %.9g %.9g %.9g %.9g %.9g %.9g {} {} %.9g %.9g', GPVAL_TERM_XMIN, "
        "GPVAL_TERM_XMAX, GPVAL_TERM_YMIN, GPVAL_TERM_YMAX, GPVAL_X_MIN, GPVAL_X_MAX, GPVAL_Y_MIN, "
        "GPVAL_Y_MAX, GPVAL_Y2_MIN, GPVAL_Y2_MAX)\n",
        x_logarithmic ? 1 : 0, y_logarithmic ? 1 : 0);
}

std::string simulated_mark(double height_px) {
    const int large = static_cast<int>(std::clamp(height_px / 10.0, 16.0, 30.0));
    return fmt::format(
        "set label 'SIMULATED BENCH' at graph 0.5,0.56 center rotate by 14 font ',{}' textcolor rgb "
        "'#dadde0' back\n"
        "set label 'shows no real unit' at graph 0.54,0.41 center rotate by 14 font ',{}' textcolor rgb "
        "'#dadde0' back\n",
        large, large * 3 / 4);
}

std::string inline_svg(const std::string& document) {
    const std::size_t start = document.find("<svg");
    if (start == std::string::npos) return {};
    std::string svg = document.substr(start);
    replace_all(svg, " xmlns=\"http://www.w3.org/2000/svg\"", "");
    replace_all(svg, " xmlns:xlink=\"http://www.w3.org/1999/xlink\"", "");
    replace_all(svg, "xlink:href", "href");
    remove_elements(svg, "title");
    remove_elements(svg, "desc");
    return svg;
}

}  // namespace assay::cli
