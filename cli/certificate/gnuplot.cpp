#include "cli/certificate/gnuplot.h"

#include <fmt/format.h>

#include <cctype>
#include <cstdlib>
#include <sstream>

#include "cli/certificate/plain_svg.h"
#include "cli/files/plain_text.h"
#include "cli/files/posix.h"

namespace assay::cli {
namespace {

using capture::fail;
using capture::FaultKind;

constexpr double longest_s = 60.0;
constexpr std::size_t longest_label = 90;

std::string mark_of(std::size_t index) {
    return fmt::format("zq{}qz", index);
}

void replace_all(std::string& text, const std::string& from, const std::string& to) {
    for (std::size_t at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size())) {
        text.replace(at, from.size(), to);
    }
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

/// Asks gnuplot where it put the axes: pixels from the left and from below, then what they show.
constexpr const char* frame_report =
    "\nprint sprintf('frame %.9g %.9g %.9g %.9g %.9g %.9g %.9g %.9g %d %d %.9g %.9g', GPVAL_TERM_XMIN, "
    "GPVAL_TERM_XMAX, GPVAL_TERM_YMIN, GPVAL_TERM_YMAX, GPVAL_X_MIN, GPVAL_X_MAX, GPVAL_Y_MIN, GPVAL_Y_MAX, "
    "GPVAL_X_LOG != 0, GPVAL_Y_LOG != 0, GPVAL_Y2_MIN, GPVAL_Y2_MAX)\n";

/// The drawing with the place of its axes as an attribute, for the readout: left, right, bottom, top in
/// pixels from the top left corner, then the ends of x and y, whether they are logarithmic, and the ends of
/// y2.
std::string with_frame(std::string svg, const std::string& report, int height) {
    const std::size_t at = report.find("frame ");
    const std::size_t start = svg.find("<svg");
    if (at == std::string::npos || start == std::string::npos) return svg;
    std::istringstream numbers(report.substr(at + 6, report.find('\n', at) - at - 6));
    std::string frame;
    for (int i = 0; i < 12; ++i) {
        std::string number;
        if (!(numbers >> number)) return svg;
        const bool from_below = i == 2 || i == 3;
        if (from_below) number = fmt::format("{:.2f}", height - std::atof(number.c_str()));
        frame += (i == 0 ? "" : " ") + number;
    }
    svg.insert(start + 4, " data-frame=\"" + escaped(frame) + '"');
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
        out += escaped(texts_[index]);
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
    const auto run =
        run_program({"gnuplot", "--default-settings", "-"}, head + script + frame_report, longest_s);
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

std::string simulated_mark(int large, int small) {
    return fmt::format(
        "set label 'SIMULATED BENCH' at graph 0.5,0.56 center rotate by 18 font ',{}' textcolor rgb "
        "'#dadde0' back\n"
        "set label 'shows no real unit' at graph 0.54,0.44 center rotate by 18 font ',{}' textcolor rgb "
        "'#dadde0' back\n",
        large, small);
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
